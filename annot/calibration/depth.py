"""What an unknown difference in depth does to an X-ray scale: M = SID / (SOD − h)."""

from dataclasses import dataclass

from annot.calibration.allowances import DEPTH_OFFSET_MM, SOURCE_TO_ISOCENTRE_MM
from annot.calibration.request import Placing
from annot.loops import LoopHeader
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
    ratio lies within ± half-range / SOD. Ultrasound and other pictures have no such factor.
    """
    if header.xray is None:
        none = exact(
            1.0, key=f"{key}:no-depth", unit="1", source="no projection", component="depth"
        )
        return DepthRatio(quantity=none, group=None)
    warnings = []
    half_range = placing.depth_offset_mm
    if half_range is None:
        half_range = DEPTH_OFFSET_MM.value
        warnings.append(
            f"difference in depth between reference and anatomy not stated: ±{half_range:g} mm "
            f"assumed ({DEPTH_OFFSET_MM.source})"
        )
    distance = header.xray.source_to_patient_mm
    if distance is None:
        distance = SOURCE_TO_ISOCENTRE_MM.value
        warnings.append(
            f"the header gives no distance from source to patient: {distance:g} mm assumed for "
            f"the depth term ({SOURCE_TO_ISOCENTRE_MM.source})"
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
