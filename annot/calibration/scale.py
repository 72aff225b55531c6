"""A scale in mm per pixel: its budget, where it came from and where it holds."""

from collections.abc import Sequence
from dataclasses import dataclass

from annot.calibration.frame_hold import HeldFrames
from annot.calibration.geometry_key import GeometryKey, Region
from annot.geometry import PixelPoint
from annot.uncertainty import (
    CoverageInterval,
    InputQuantity,
    MeasurementResult,
    estimate,
    propagate,
)


@dataclass(frozen=True, slots=True, kw_only=True)
class PixelScale:
    """Millimetres per pixel along rows and columns.

    Attributes
    ----------
    key : str
        Identity: rows of a table with the same key share the scale's error fully.
    kind : str
        catheter, sphere, segment, header or given.
    row, column : MeasurementResult
        mm per pixel from one row (column) to the next. They share their inputs.
    basis : str
        One sentence: what the scale rests on.
    object_id, depth_group : str or None
        Keys of the object's size and of the unknown depth, for correlation between scales.
    geometry : GeometryKey
        The loop geometry for which it was made.
    system_id : str or None
        Key of the error that all header scales of one imaging system share.
    region : Region or None
        Box outside which it does not hold.
    frames : HeldFrames or None
        On which frames it holds, where not on all.
    at_object : MeasurementResult or None
        The row scale at the reference's own depth, before the step to the anatomy's.
    column_at_object : MeasurementResult or None
        The same of the columns, where the object showed both pitches (a grid).
    overruled : str
        A person's reason for using it where it would be refused; empty otherwise.
    """

    key: str
    kind: str
    row: MeasurementResult
    column: MeasurementResult
    basis: str
    geometry: GeometryKey
    object_id: str | None = None
    depth_group: str | None = None
    system_id: str | None = None
    region: Region | None = None
    frames: HeldFrames | None = None
    at_object: MeasurementResult | None = None
    column_at_object: MeasurementResult | None = None
    overruled: str = ""
    warnings: tuple[str, ...] = ()

    @property
    def u_rel(self) -> float:
        """Relative standard uncertainty of the scale, everything in its budget included."""
        return self.row.u / self.row.value

    def at(
        self, points: Sequence[PixelPoint], *, frame: int | None = None
    ) -> "PixelScale | NoScale":
        """Return this scale if it holds at all points of a frame, otherwise the reason why not."""
        if self.region is not None and not self.region.holds(points):
            return NoScale(reason=f"the ends leave the part of the image where {self.key} holds")
        if self.frames is None:
            return self
        if frame is None:
            return NoScale(
                reason="the loop's geometry changes on the way: name the frame to be scaled"
            )
        found = self.frames.differences(frame)
        if not found:
            return self
        return NoScale(
            reason=(
                f"{self.key} does not hold on frame {frame}: {', '.join(found)} differ from the "
                "frame it was made on"
            )
        )

    def interval(self, *, probability: float = 0.95) -> CoverageInterval:
        """Coverage interval of the row scale in mm per pixel: the shortest, drawn where needed."""
        return estimate(self.row, probability=probability).interval


@dataclass(frozen=True, slots=True, kw_only=True)
class NoScale:
    """No millimetre here, and why. False in a condition."""

    reason: str
    warnings: tuple[str, ...] = ()

    def at(self, points: Sequence[PixelPoint], *, frame: int | None = None) -> "NoScale":
        """Return itself: there is no scale anywhere."""
        del points, frame
        return self

    def __bool__(self) -> bool:
        return False


def pair_of_scales(
    row: MeasurementResult, pixel_aspect: float
) -> tuple[MeasurementResult, MeasurementResult]:
    """Return row and column scale for pixels whose width is `pixel_aspect` times their height."""
    if pixel_aspect == 1:
        return row, row
    return row, propagate(lambda scale: scale * pixel_aspect, [row], unit="mm/px")


def size_scale(
    key: str, known_size: InputQuantity, seen_size: InputQuantity | MeasurementResult
) -> MeasurementResult:
    """Return mm per pixel at the depth of an object of known size: known / seen.

    Raises
    ------
    ValueError
        If a size is not positive.
    """
    if known_size.value <= 0 or seen_size.value <= 0:
        raise ValueError(
            f"{key}: sizes must be positive, got {known_size.value:g} mm seen as "
            f"{seen_size.value:g} px."
        )
    return propagate(lambda known, seen: known / seen, [known_size, seen_size], unit="mm/px")


def scale_from_reference_object(
    *,
    key: str,
    known_size: InputQuantity,
    seen_size: InputQuantity | MeasurementResult,
    depth_ratio: InputQuantity | MeasurementResult,
) -> MeasurementResult:
    """Return mm per pixel from an object of known size: known / seen, times the depth ratio.

    Parameters
    ----------
    known_size : InputQuantity
        True size in mm.
    seen_size : InputQuantity or MeasurementResult
        The same size in pixels (of the row pitch).
    depth_ratio : InputQuantity or MeasurementResult
        (SOD − h of the anatomy) / (SOD − h of the object); 1 with its uncertainty when the
        depths are not known apart.

    Raises
    ------
    ValueError
        If a size is not positive.
    """
    there = size_scale(key, known_size, seen_size)
    return propagate(lambda size, depth: size * depth, [there, depth_ratio], unit="mm/px")
