"""What must be the same for a scale to hold elsewhere, and what differs, in words."""

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import starmap, zip_longest
from math import inf, isclose

from annot.calibration.allowances import SAME_ANGLE_DEG, SAME_GEOMETRY_REL
from annot.geometry import PixelPoint

Angles = tuple[float | None, float | None]
_WORDS = {
    "modality": "the modality",
    "rows": "the number of rows",
    "columns": "the number of columns",
    "imager_spacing_mm": "the detector's spacing",
    "source_to_detector_mm": "the distance from source to detector",
    "source_to_patient_mm": "the distance from source to patient",
    "angles_deg": "the positioner's angles",
    "isocentre_deg": "the stand's angles at the isocentre",
    "plane": "the plane of a biplane system",
    "field_of_view_mm": "the field of view",
    "intensifier_mm": "the zoom of the image intensifier",
    "region_sizes_mm": "the pixel sizes of the ultrasound regions",
}
_ANGLES = ("angles_deg", "isocentre_deg")


@dataclass(frozen=True, slots=True, kw_only=True)
class GeometryKey:
    """What must be the same for a scale to hold: the picture's geometry, not its content."""

    modality: str
    rows: int
    columns: int
    imager_spacing_mm: tuple[float, float] | None = None
    source_to_detector_mm: float | None = None
    source_to_patient_mm: float | None = None
    angles_deg: Angles = (None, None)
    isocentre_deg: tuple[float | None, ...] = ()
    plane: str | None = None
    field_of_view_mm: tuple[float, ...] = ()
    intensifier_mm: float | None = None
    region_sizes_mm: tuple[tuple[float, float], ...] = ()

    @property
    def is_silent(self) -> bool:
        """Whether nothing but the picture's shape is known, so that equality shows little."""
        known = (self.imager_spacing_mm, self.source_to_detector_mm, self.source_to_patient_mm)
        return not any(known) and not self.region_sizes_mm

    def differences(self, other: "GeometryKey", *, angles: bool = True) -> tuple[str, ...]:
        """Return in words what differs, empty when a scale carries over.

        Parameters
        ----------
        other
            The geometry on which the scale is to be used.
        angles
            False leaves the positioner's angles out: they change where the object lies along the
            beam, nothing else, so a new statement of depth makes up for them.
        """
        return tuple(
            f"{words} ({getattr(self, name)} against {getattr(other, name)})"
            for name, words in _WORDS.items()
            if (angles or name not in _ANGLES) and not self._agrees(other, name)
        )

    def turned_deg(self, other: "GeometryKey") -> float:
        """Return by how many degrees an angle differs, at most; 0 if both are unknown."""
        return max(_turned(getattr(self, name), getattr(other, name)) for name in _ANGLES)

    def _agrees(self, other: "GeometryKey", name: str) -> bool:
        if name in _ANGLES:
            turned = _turned(getattr(self, name), getattr(other, name))
            return turned <= SAME_ANGLE_DEG.value
        return _same(getattr(self, name), getattr(other, name))


def _turned(first: tuple[float | None, ...], second: tuple[float | None, ...]) -> float:
    """Return the largest turn of any angle; what only one of the two states is one without end."""
    return max(starmap(_turn, zip_longest(first, second)), default=0.0)


def _turn(first: float | None, second: float | None) -> float:
    """Return the angle between two angles: −179° and 180° are one degree apart."""
    if first is None or second is None:
        return 0.0 if first is second else inf
    return abs((first - second + 180.0) % 360.0 - 180.0)


def _same(first: object, second: object) -> bool:
    """Tell whether two values are the same up to the digits that headers keep."""
    if isinstance(first, tuple) and isinstance(second, tuple):
        pairs = zip(first, second, strict=False)
        return len(first) == len(second) and all(_same(one, two) for one, two in pairs)
    if isinstance(first, float) and isinstance(second, float):
        return isclose(first, second, rel_tol=SAME_GEOMETRY_REL.value)
    return first == second


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
