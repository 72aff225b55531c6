"""Numbers and states in words, always with what makes them trustworthy or not."""

from collections.abc import Sequence

from annot.calibration import NoScale, PixelScale
from annot.errors import AnnotError
from annot.measurement import Measurement
from annot.tasks.calibrate import answer_of
from annot.tasks.open import Loop, LoopHeader, scale_words
from annot.uncertainty import decimals_for, expand, value_with_u
from napari_annot.standings import Standing

NO_SCALE_SIGN = "no scale"


def plain_value_words(measurement: Measurement) -> str:
    """Return for instance '25.25 ± 0.63 mm', the value and its standard uncertainty."""
    found = measurement.estimate
    return f"{value_with_u(found.value, found.u)} {measurement.result.unit}"


def value_words(measurement: Measurement) -> str:
    """Return value and uncertainty; in px with the sign that there is no scale."""
    result = measurement.result
    words = plain_value_words(measurement)
    return words if result.unit != "px" else f"{words} ({NO_SCALE_SIGN})"


def interval_words(measurement: Measurement) -> str:
    """Return for instance '24.01 to 26.49', with as many decimals as the value has."""
    places = decimals_for(measurement.estimate.u)
    interval = measurement.interval
    return f"{interval.low:.{places}f} to {interval.high:.{places}f}"


def frame_words(frame: int) -> str:
    """Return a frame counted from 0, with DICOM's count from 1 in brackets."""
    return f"{frame} ({frame + 1})"


def view_words(header: LoopHeader, frame: int, stated_deg: float | None) -> str:
    """Return the view: positioner angles for X-ray, the stated plane for ultrasound."""
    if header.xray is not None:
        primary, secondary = header.xray.angles_at(frame)
        parts = (_side(primary, "LAO", "RAO"), _side(secondary, "CRA", "CAU"))
        return " ".join(part for part in parts if part) or "–"
    return "–" if stated_deg is None else f"{stated_deg:g}°"


def _side(angle_deg: float | None, positive: str, negative: str) -> str:
    if angle_deg is None:
        return ""
    return f"{positive if angle_deg >= 0 else negative} {abs(angle_deg):.0f}°"


def short_scale_words(standing: Standing, loop: Loop) -> str:
    """Return a scale's state for a list of loops."""
    if standing.state == "none":
        return "none yet"
    if standing.state == "fitting":
        return "fitting …"
    if standing.state == "refused":
        return "refused"
    scale = single_scale(standing, loop)
    if scale is None:
        return "by place"
    row, column = f"{scale.row.value:.4g}", f"{scale.column.value:.4g}"
    return f"{row} mm/px" if row == column else f"{row} × {column} mm/px"


def single_scale(standing: Standing, loop: Loop) -> PixelScale | None:
    """Return the one scale of a loop, None where there is none or it depends on the place."""
    if standing.state != "made":
        return None
    if isinstance(standing.scale, PixelScale):
        return standing.scale
    try:
        return answer_of(standing.made, loop).scale
    except AnnotError:  # several regions of different size, or none that measures
        return None


def scale_headline(standing: Standing, loop: Loop) -> str:
    """Return the scale with its uncertainty, or why there is none."""
    if standing.state == "none":
        return "No scale yet: lengths are in pixels."
    if standing.state == "fitting":
        return "Fitting the object …"
    if isinstance(standing.scale, NoScale):
        return f"No scale: {standing.scale.reason}."
    scale = single_scale(standing, loop)
    if scale is None:
        return f"Scale by place: {scale_words(loop.header)}."
    same = scale.row == scale.column
    column = "" if same else f" down, {_mm_per_px(scale.column.value, scale.column.u)} across"
    percent = f"u {100 * scale.u_rel:.1f} %"
    return f"Scale {_mm_per_px(scale.row.value, scale.row.u)}{column} ({percent})"


def _mm_per_px(value: float, u: float) -> str:
    return f"{value_with_u(value, u)} mm/px"


def caption_scale_words(standing: Standing, loop: Loop) -> str:
    """Return the scale for the picture's caption, with its uncertainty or what is amiss."""
    if standing.state != "made":
        return {
            "none": "no scale: lengths in px",
            "fitting": "fitting the scale …",
            "refused": "scale refused: lengths in px",
        }[standing.state]
    scale = single_scale(standing, loop)
    if scale is None:
        return "scale by place"
    return f"{short_scale_words(standing, loop)}, u {100 * scale.u_rel:.1f} %"


def scale_details(standing: Standing, loop: Loop) -> str:
    """Return interval and basis of a scale."""
    scale = single_scale(standing, loop)
    if scale is None:
        return ""
    interval = expand(scale.row)
    places = decimals_for(scale.row.u)
    seen = standing.made.seen
    pieces = (
        f"; {seen.sections_used} sections used, {seen.sections_rejected} set aside"
        if seen and seen.sections_used + seen.sections_rejected > 1
        else ""
    )
    return (
        f"{100 * interval.probability:.0f} % interval "
        f"{interval.low:.{places}f} to {interval.high:.{places}f} mm/px. {_sentence(scale.basis)}"
        f"{pieces}."
    )


def _sentence(text: str) -> str:
    return f"{text[:1].upper()}{text[1:]}".rstrip(".")


def scale_warnings(standing: Standing, loop: Loop) -> tuple[str, ...]:
    """Return what a reader must know of a scale."""
    scale = single_scale(standing, loop)
    if scale is not None:
        return scale.warnings
    return standing.scale.warnings if isinstance(standing.scale, NoScale) else ()


def joined(sentences: Sequence[str]) -> str:
    """Return several remarks as a list of lines."""
    return "\n".join(f"• {_sentence(one)}" for one in sentences)
