"""What an unknown difference in depth does to an X-ray scale: M = SID / (SOD − h)."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from annot.calibration.allowances import (
    DEPTH_OFFSET_MM,
    DEPTH_PRESETS,
    REFERENCE_OFF_ISOCENTRE_MM,
    SOURCE_TO_ISOCENTRE_MM,
)
from annot.calibration.request import Placing
from annot.errors import InputError
from annot.loops import LoopHeader, XrayView
from annot.uncertainty import InputQuantity, MeasurementResult, exact, propagate, rectangular

FloatArray = NDArray[np.float64]


@dataclass(frozen=True, slots=True, kw_only=True)
class DepthRatio:
    """Factor of the scale for a change of depth, its correlation group, and what was assumed."""

    quantity: MeasurementResult
    group: str | None
    warnings: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class DepthRange:
    """How much nearer to the source than the object the anatomy may lie, and who says so."""

    low_mm: float
    high_mm: float
    source: str
    warnings: tuple[str, ...] = ()

    @property
    def words(self) -> str:
        """The range in words."""
        if self.low_mm == -self.high_mm:
            return f"±{self.high_mm:g} mm"
        return f"{self.low_mm:g} to {self.high_mm:g} mm"


def depth_law(source_to_object_mm: FloatArray, nearer_mm: FloatArray) -> FloatArray:
    """Return by what the scale at the object is multiplied to hold at the anatomy.

    Magnification is SID / (SOD − h), so mm per pixel goes with SOD − h, exactly: the factor is
    (SOD − h of the anatomy) / (SOD − h of the object). SID cancels.

    Parameters
    ----------
    source_to_object_mm
        SOD − h of the object: its distance from the source along the central ray.
    nearer_mm
        h of the anatomy less h of the object.
    """
    return (source_to_object_mm - nearer_mm) / source_to_object_mm


def depth_ratio(
    header: LoopHeader,
    placing: Placing,
    *,
    key: str,
    view: XrayView | None = None,
    off_isocentre: bool = True,
) -> DepthRatio:
    """Return (SOD − h of the anatomy) / (SOD − h of the object) with its uncertainty.

    Only ultrasound has no such factor: a screen capture of a projection is one too, though its
    header does not say so.

    Parameters
    ----------
    header, placing, key
        Whose loop, how its object lies to the anatomy, and the prefix of the inputs' keys.
    view
        The view of the frame in question, where frames differ; the header's if left out.
    off_isocentre
        Whether the reference may lie off the isocentre, up to which the header's distance goes; a
        header's own scale is the isocentre's.

    Raises
    ------
    InputError
        If the range reaches the source.
    """
    group = f"{key}:depth"
    if header.modality == "US":
        none = exact(
            1.0, key=f"{key}:no-depth", unit="1", source="no projection", component="depth"
        )
        return DepthRatio(quantity=_itself(none), group=None)
    view = view or header.xray
    depth = depth_range(placing)
    warnings = [*_motion(view), *depth.warnings]
    distance = _source_distance(view)
    if distance is None:
        distance = SOURCE_TO_ISOCENTRE_MM.value
        warnings.append(
            f"the header gives no usable distance from source to patient: {distance:g} mm assumed "
            f"for the depth term ({SOURCE_TO_ISOCENTRE_MM.source})"
        )
    if depth.low_mm == depth.high_mm == 0:
        same = exact(1.0, key=group, unit="1", component="depth", source="same depth, as stated")
        return DepthRatio(quantity=_itself(same), group=group, warnings=tuple(warnings))
    nearest = distance - (REFERENCE_OFF_ISOCENTRE_MM.value if off_isocentre else 0.0)
    if depth.high_mm >= nearest:
        raise InputError(
            f"{header.path.name}: a difference in depth of {depth.words} reaches the source, which "
            f"may lie {max(nearest, 0):g} mm from the reference: state a smaller one, or check the "
            f"distance from source to patient, {distance:g} mm."
        )
    quantity = propagate(
        depth_law, [_distance(distance, group, off_isocentre), _offset(depth, group)], unit="1"
    )
    return DepthRatio(quantity=quantity, group=group, warnings=tuple(warnings))


def depth_range(placing: Placing) -> DepthRange:
    """Return the range that a person states, by numbers or by a preset, else the default."""
    if placing.depth_range_mm is not None:
        low, high = placing.depth_range_mm
        return DepthRange(
            low_mm=low, high_mm=high, source="as stated", warnings=_correction(low, high)
        )
    if placing.depth_preset is not None:
        preset = DEPTH_PRESETS[placing.depth_preset]
        text = f"{preset.meaning} ({preset.source})"
        return DepthRange(
            low_mm=preset.low,
            high_mm=preset.high,
            source=text,
            warnings=(
                f"depth by the preset '{placing.depth_preset}', {preset.low:g} to {preset.high:g} "
                f"mm: {text}",
                *_correction(preset.low, preset.high),
            ),
        )
    half_range = placing.depth_offset_mm
    if half_range is not None:
        return DepthRange(low_mm=-half_range, high_mm=half_range, source="as stated")
    half_range = DEPTH_OFFSET_MM.value
    return DepthRange(
        low_mm=-half_range,
        high_mm=half_range,
        source=DEPTH_OFFSET_MM.source,
        warnings=(
            f"difference in depth between reference and anatomy not stated: ±{half_range:g} mm "
            f"assumed ({DEPTH_OFFSET_MM.source})",
        ),
    )


def _correction(low: float, high: float) -> tuple[str, ...]:
    """Say that a range to one side moves the scale, not only its interval."""
    middle = (low + high) / 2
    if middle == 0:
        return ()
    side = "nearer to the source than" if middle > 0 else "farther from the source than"
    return (
        f"the scale is corrected for the anatomy lying {abs(middle):g} mm {side} its reference, "
        f"the middle of {low:g} to {high:g} mm",
    )


def _offset(depth: DepthRange, group: str) -> InputQuantity:
    middle, half = (depth.low_mm + depth.high_mm) / 2, (depth.high_mm - depth.low_mm) / 2
    source = f"anatomy nearer to the source than its reference by {depth.words}: {depth.source}"
    if half == 0:
        return exact(middle, key=group, unit="mm", component="depth", source=source)
    return rectangular(middle, half, key=group, unit="mm", component="depth", source=source)


def _distance(distance_mm: float, group: str, off_isocentre: bool) -> InputQuantity:
    key, source = f"{group}:source", "distance from the source to the reference"
    if not off_isocentre:
        return exact(distance_mm, key=key, unit="mm", component="depth", source=source)
    allowance = REFERENCE_OFF_ISOCENTRE_MM
    return rectangular(
        distance_mm,
        allowance.value,
        key=key,
        unit="mm",
        component="depth",
        source=f"{source}: {allowance.meaning} ({allowance.source})",
    )


def _itself(quantity: InputQuantity) -> MeasurementResult:
    return propagate(lambda value: value, [quantity], unit=quantity.unit)


def _source_distance(view: XrayView | None) -> float | None:
    """Return the stored distance from source to patient unless the header contradicts it."""
    if view is None or view.source_to_patient_mm is None:
        return None
    near, far = view.source_to_patient_mm, view.source_to_detector_mm
    return near if far is None or near < far else None


def _motion(view: XrayView | None) -> tuple[str, ...]:
    """Say what in the loop moves without the header saying where to."""
    table = view is not None and view.table_motion == "DYNAMIC" and view.table_mm is None
    if not table:
        return ()
    return (
        "the table moves during the loop and the header does not say by how much: a scale made on "
        "one frame may not hold on another",
    )
