"""A scale in mm per pixel: its budget, where it came from and where it holds."""

from collections.abc import Sequence
from dataclasses import dataclass

from annot.geometry import PixelPoint
from annot.uncertainty import CoverageInterval, InputQuantity, MeasurementResult, expand, propagate


@dataclass(frozen=True, slots=True, kw_only=True)
class GeometryKey:
    """What must be the same for a scale to hold: the picture's geometry, not its content."""

    modality: str
    rows: int
    columns: int
    imager_spacing_mm: tuple[float, float] | None = None
    source_to_detector_mm: float | None = None
    source_to_patient_mm: float | None = None
    angles_deg: tuple[float | None, float | None] = (None, None)
    plane: str | None = None
    field_of_view_mm: tuple[float, ...] = ()
    region_sizes_mm: tuple[tuple[float, float], ...] = ()

    @property
    def is_silent(self) -> bool:
        """Whether nothing but the picture's shape is known, so that equality shows little."""
        known = (self.imager_spacing_mm, self.source_to_detector_mm, self.source_to_patient_mm)
        return not any(known) and not self.region_sizes_mm

    def differences(self, other: "GeometryKey") -> tuple[str, ...]:
        """Return in words what differs, empty when a scale carries over."""
        names = {
            "modality": "the modality",
            "rows": "the number of rows",
            "columns": "the number of columns",
            "imager_spacing_mm": "the detector's spacing",
            "source_to_detector_mm": "the distance from source to detector",
            "source_to_patient_mm": "the distance from source to patient",
            "angles_deg": "the positioner's angles",
            "plane": "the plane of a biplane system",
            "field_of_view_mm": "the field of view",
            "region_sizes_mm": "the pixel sizes of the ultrasound regions",
        }
        return tuple(
            f"{words} ({getattr(self, name)} against {getattr(other, name)})"
            for name, words in names.items()
            if getattr(self, name) != getattr(other, name)
        )


@dataclass(frozen=True, slots=True, kw_only=True)
class Region:
    """The box of pixels in which a scale holds, bounds included."""

    min_row: int
    min_column: int
    max_row: int
    max_column: int

    def holds(self, points: Sequence[PixelPoint]) -> bool:
        """Whether all points lie in the box."""
        return all(
            self.min_row <= point.row <= self.max_row
            and self.min_column <= point.column <= self.max_column
            for point in points
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
    region : Region or None
        Box outside which it does not hold.
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
    region: Region | None = None
    overruled: str = ""
    warnings: tuple[str, ...] = ()

    @property
    def u_rel(self) -> float:
        """Relative standard uncertainty of the scale, everything in its budget included."""
        return self.row.u / self.row.value

    def at(self, points: Sequence[PixelPoint]) -> "PixelScale | NoScale":
        """Return this scale if it holds at all points, otherwise the reason why not."""
        if self.region is None or self.region.holds(points):
            return self
        return NoScale(reason=f"the ends leave the part of the image where {self.key} holds")

    def interval(self, *, probability: float = 0.95) -> CoverageInterval:
        """Coverage interval of the row scale in mm per pixel."""
        return expand(self.row, probability=probability)


@dataclass(frozen=True, slots=True, kw_only=True)
class NoScale:
    """No millimetre here, and why. False in a condition."""

    reason: str
    warnings: tuple[str, ...] = ()

    def at(self, points: Sequence[PixelPoint]) -> "NoScale":
        """Return itself: there is no scale anywhere."""
        del points
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


def scale_from_reference_object(
    *,
    key: str,
    known_size: InputQuantity,
    seen_size: InputQuantity | MeasurementResult,
    depth_ratio: InputQuantity,
) -> MeasurementResult:
    """Return mm per pixel from an object of known size: known / seen, times the depth ratio.

    Parameters
    ----------
    known_size : InputQuantity
        True size in mm.
    seen_size : InputQuantity or MeasurementResult
        The same size in pixels (of the row pitch).
    depth_ratio : InputQuantity
        (SOD − h of the anatomy) / (SOD − h of the object); 1 with its uncertainty when the
        depths are not known apart.

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
    return propagate(
        lambda known, seen, depth: known / seen * depth,
        [known_size, seen_size, depth_ratio],
        unit="mm/px",
    )
