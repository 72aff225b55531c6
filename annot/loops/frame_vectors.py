"""What an X-ray header says for each frame by itself, where frames differ.

Sources: PS3.3 C.7.6.16 (per-frame functional groups of enhanced objects) and C.8.7.4 (X-Ray Table:
increments of a classic loop, each counted from the first frame).
"""

from collections.abc import Callable, Mapping
from dataclasses import dataclass, fields
from math import isfinite
from typing import Any

from pydicom.multival import MultiValue

from annot.loops.attributes import Attributes, is_pixel_side

TablePosition = tuple[float | None, float | None, float | None]
IsocentreAngles = tuple[float | None, float | None, float | None]
Pair = tuple[float, float]


@dataclass(frozen=True, slots=True, kw_only=True)
class FrameVectors:
    """Values of an `XrayView`'s fields frame by frame; empty where all frames have the same.

    A frame that the header says nothing usable for has ``None``.
    """

    source_to_detector_mm: tuple[float | None, ...] = ()
    source_to_patient_mm: tuple[float | None, ...] = ()
    magnification_factor: tuple[float | None, ...] = ()
    imager_pixel_spacing_mm: tuple[Pair | None, ...] = ()
    pixel_spacing_mm: tuple[Pair | None, ...] = ()
    object_spacing_mm: tuple[Pair | None, ...] = ()
    object_to_table_mm: tuple[float | None, ...] = ()
    table_height_mm: tuple[float | None, ...] = ()
    beam_angle_deg: tuple[float | None, ...] = ()
    field_of_view_mm: tuple[tuple[float, ...], ...] = ()
    table_mm: tuple[TablePosition | None, ...] = ()
    isocentre_deg: tuple[IsocentreAngles | None, ...] = ()

    def at(self, frame: int) -> dict[str, Any]:
        """Return the fields that have a value of their own on a frame, and that value."""
        found = {field.name: getattr(self, field.name) for field in fields(self)}
        return {
            name: values[frame] if frame < len(values) else _unknown(name)
            for name, values in found.items()
            if values
        }


def _unknown(name: str) -> tuple[float, ...] | None:
    return () if name == "field_of_view_mm" else None


def _number(value: Any) -> float | None:
    try:
        number = float(value)
    except (TypeError, ValueError, OverflowError):
        return None
    return number if isfinite(number) else None


def _positive(value: Any) -> float | None:
    number = _number(value)
    return number if number is not None and number > 0 else None


def _all(value: Any) -> tuple[float, ...]:
    many = value if isinstance(value, MultiValue | list | tuple) else [value]
    numbers = [_positive(one) for one in many]
    return tuple(one for one in numbers if one is not None) if None not in numbers else ()


def _pair(value: Any) -> Pair | None:
    numbers = _all(value)
    sides = len(numbers) == 2 and all(is_pixel_side(one) for one in numbers)
    return (numbers[0], numbers[1]) if sides else None


# Attribute of a functional group, the view's field it fills, and how it is read.
PER_FRAME: Mapping[str, tuple[str, Callable[[Any], Any]]] = {
    "DistanceSourceToDetector": ("source_to_detector_mm", _positive),
    "DistanceSourceToPatient": ("source_to_patient_mm", _positive),
    "DistanceSourceToIsocenter": ("source_to_patient_mm", _positive),
    "EstimatedRadiographicMagnificationFactor": ("magnification_factor", _positive),
    "ImagerPixelSpacing": ("imager_pixel_spacing_mm", _pair),
    "PixelSpacing": ("pixel_spacing_mm", _pair),
    "ObjectPixelSpacingInCenterOfBeam": ("object_spacing_mm", _pair),
    "DistanceObjectToTableTop": ("object_to_table_mm", _number),
    "TableHeight": ("table_height_mm", _number),
    "BeamAngle": ("beam_angle_deg", _number),
    "FieldOfViewDimensionsInFloat": ("field_of_view_mm", _all),
    "FieldOfViewDimensions": ("field_of_view_mm", _all),
}
# Three attributes that make one position or one set of angles: vertical, longitudinal and lateral;
# the isocentre's system has Y downwards, Z along and X across the table (PS3.3 C.8.19.6.13).
TABLE_TOP = ("TableTopVerticalPosition", "TableTopLongitudinalPosition", "TableTopLateralPosition")
TABLE_TO_ISOCENTRE = (
    "TableYPositionToIsocenter",
    "TableZPositionToIsocenter",
    "TableXPositionToIsocenter",
)
ISOCENTRE_ANGLES = (
    "PositionerIsocenterPrimaryAngle",
    "PositionerIsocenterSecondaryAngle",
    "PositionerIsocenterDetectorRotationAngle",
)
TRIPLES = {
    TABLE_TOP: "table_mm",
    TABLE_TO_ISOCENTRE: "table_mm",
    ISOCENTRE_ANGLES: "isocentre_deg",
}
GEOMETRY = (*PER_FRAME, *(keyword for triple in TRIPLES for keyword in triple))
_INCREMENTS = ("TableVerticalIncrement", "TableLongitudinalIncrement", "TableLateralIncrement")


def vectors_of(differing: Mapping[str, tuple[Any, ...]]) -> FrameVectors:
    """Read the vectors of an enhanced object.

    Parameters
    ----------
    differing
        By keyword, one value per frame of each attribute whose frames do not all agree.
    """
    found: dict[str, tuple[Any, ...]] = {}
    for keyword, (field, read) in PER_FRAME.items():
        values = differing.get(keyword)
        if values is not None and field not in found:
            found[field] = tuple(read(value) for value in values)
    for triple, field in TRIPLES.items():
        columns = [differing.get(keyword) for keyword in triple]
        if None not in columns and field not in found:
            rows = zip(*(column or () for column in columns), strict=True)
            found[field] = tuple(tuple(_number(value) for value in row) for row in rows)
    return FrameVectors(**found)


def classic_table_positions(
    attributes: Attributes, *, frames: int
) -> tuple[TablePosition | None, ...]:
    """Read where the table stands on each frame of a classic loop, from where it started.

    One increment is the change per frame, more are offsets from the first frame (PS3.3 C.8.7.4);
    empty if the table does not move or nothing is stated.
    """
    if attributes.text("TableMotion") != "DYNAMIC":
        return ()
    stated = [attributes.numbers(keyword) for keyword in _INCREMENTS]
    if not any(one for one in stated):
        return ()
    return tuple(
        (_offset(stated[0], n), _offset(stated[1], n), _offset(stated[2], n)) for n in range(frames)
    )


def _offset(increments: tuple[float, ...] | None, frame: int) -> float | None:
    if not increments:
        return None
    if len(increments) == 1:
        return frame * increments[0]
    return increments[frame] if frame < len(increments) else None
