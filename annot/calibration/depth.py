"""What an unknown difference in depth does to an X-ray scale: M = SID / (SOD − h)."""

from dataclasses import dataclass

from annot.calibration.allowances import DEPTH_OFFSET_MM, SOURCE_TO_ISOCENTRE_MM
from annot.calibration.request import Placing
from annot.errors import InputError
from annot.loops import LoopHeader, XrayView
from annot.uncertainty import InputQuantity, exact, rectangular


@dataclass(frozen=True, slots=True, kw_only=True)
class DepthRatio:
    """Factor of the scale for a change of depth, its correlation group, and what was assumed."""

    quantity: InputQuantity
    group: str | None
    warnings: tuple[str, ...] = ()


def depth_ratio(header: LoopHeader, placing: Placing, *, key: str) -> DepthRatio:
    """Return (SOD − h of the anatomy) / (SOD − h of the object), 1 with its uncertainty.

    The difference of the two depths lies within ± the stated (or default) half-range, so the
    ratio lies within ± half-range / SOD. Only ultrasound has no such factor: a screen capture of
    a projection is one too, though its header does not say so.

    Raises
    ------
    InputError
        If the half-range reaches the source.
    """
    if header.modality == "US":
        none = exact(
            1.0, key=f"{key}:no-depth", unit="1", source="no projection", component="depth"
        )
        return DepthRatio(quantity=none, group=None)
    warnings = list(_motion(header.xray))
    half_range = placing.depth_offset_mm
    if half_range is None:
        half_range = DEPTH_OFFSET_MM.value
        warnings.append(
            f"difference in depth between reference and anatomy not stated: ±{half_range:g} mm "
            f"assumed ({DEPTH_OFFSET_MM.source})"
        )
    distance = _source_distance(header.xray)
    if distance is None:
        distance = SOURCE_TO_ISOCENTRE_MM.value
        warnings.append(
            f"the header gives no usable distance from source to patient: {distance:g} mm assumed "
            f"for the depth term ({SOURCE_TO_ISOCENTRE_MM.source})"
        )
    if half_range >= distance:
        raise InputError(
            f"{header.path.name}: a difference in depth of ±{half_range:g} mm reaches the source, "
            f"{distance:g} mm away: state its half-range in mm."
        )
    group = f"{key}:depth"
    if half_range == 0:
        same = exact(1.0, key=group, unit="1", component="depth", source="same depth, as stated")
        return DepthRatio(quantity=same, group=group, warnings=tuple(warnings))
    quantity = rectangular(
        1.0,
        half_range / distance,
        key=group,
        unit="1",
        component="depth",
        source=f"depths apart by up to ±{half_range:g} mm at {distance:g} mm from the source",
    )
    return DepthRatio(quantity=quantity, group=group, warnings=tuple(warnings))


def _source_distance(view: XrayView | None) -> float | None:
    """Return the stored distance from source to patient unless the header contradicts it."""
    if view is None or view.source_to_patient_mm is None:
        return None
    near, far = view.source_to_patient_mm, view.source_to_detector_mm
    return near if far is None or near < far else None


def _motion(view: XrayView | None) -> tuple[str, ...]:
    """Say what in the loop moves, since magnification moves with it."""
    moving = {
        "positioner": view.positioner_motion if view else None,
        "table": view.table_motion if view else None,
    }
    return tuple(
        f"the {name} moves during the loop: a scale made on one frame may not hold on another"
        for name, motion in moving.items()
        if motion == "DYNAMIC"
    )
