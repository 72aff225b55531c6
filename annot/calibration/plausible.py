"""Sizes and spacings that hardly can be: said, never refused, for a person may know better."""

from annot.calibration.allowances import (
    LARGEST_SPACING_MM,
    LEAST_SPACING_MM,
    THINNEST_SHAFT_MM,
    WIDEST_SHAFT_MM,
)


def spacing_doubts(mm_per_px: float) -> tuple[str, ...]:
    """Say that a scale is unusual for X-ray and ultrasound of the heart, nothing if it is not.

    A spacing stored in centimetres where millimetres are meant, or the other way about, is off by
    ten, and so is one from a size typed with its point displaced.
    """
    low, high = LEAST_SPACING_MM.value, LARGEST_SPACING_MM.value
    if low <= mm_per_px <= high:
        return ()
    return (
        f"{mm_per_px:.3g} mm per pixel is unusual ({low:g} to {high:g} mm are usual): a size typed "
        "with its point displaced, or a spacing stored in another unit, centimetres for "
        "millimetres, is off by ten; check it against something of known size in the picture",
    )


def shaft_doubts(size_mm: float, *, device: str) -> tuple[str, ...]:
    """Say that a catheter or sheath is unusually thin or wide, nothing if it is not."""
    if THINNEST_SHAFT_MM.value <= size_mm <= WIDEST_SHAFT_MM.value:
        return ()
    unusual = "wide" if size_mm > WIDEST_SHAFT_MM.value else "thin"
    return (
        f"a {device} of {size_mm:g} mm ({3 * size_mm:.3g} French) is unusually {unusual}: check "
        "its decimal point and its unit",
    )
