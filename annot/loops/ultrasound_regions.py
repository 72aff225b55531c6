"""Ultrasound regions: rectangles of the image and the physical size of their pixels.

Source: PS3.3 C.8.5.5, US Region Calibration module (locations are inclusive pixel numbers counted
from 0; lengths are in cm per pixel; increments may be negative).
"""

from dataclasses import dataclass
from math import isfinite

SPATIAL_2D = 1
UNIT_NONE = 0
UNIT_CM = 3
MM_PER_CM = 10.0
_FLAG_LOW_PRIORITY = 0b01
_FLAG_SCALING_PROTECTED = 0b10


@dataclass(frozen=True, slots=True, kw_only=True)
class UltrasoundRegion:
    """One item of the Sequence of Ultrasound Regions.

    Attributes
    ----------
    min_x0, min_y0, max_x1, max_y1
        The inclusive rectangle in whole pixels: x is the column, y the row, both from 0.
    spatial_format, data_type, flags, units_x, units_y
        The coded values as stored.
    delta_x, delta_y
        Physical step per pixel to the right and downwards, in `units_x` and `units_y`;
        ``None`` where the file holds nothing usable.
    reference_x0, reference_y0
        Reference pixel, relative to the rectangle's own upper-left corner.
    """

    min_x0: int
    min_y0: int
    max_x1: int
    max_y1: int
    spatial_format: int
    data_type: int
    flags: int
    units_x: int
    units_y: int
    delta_x: float | None
    delta_y: float | None
    reference_x0: int | None = None
    reference_y0: int | None = None

    def contains(self, row: float, column: float) -> bool:
        """Tell whether a pixel position lies in the inclusive box of pixel centres."""
        return self.min_y0 <= row <= self.max_y1 and self.min_x0 <= column <= self.max_x1

    def inside(self, rows: int, columns: int) -> bool:
        """Tell whether the whole rectangle lies within an image of that size."""
        return 0 <= self.min_x0 <= self.max_x1 < columns and 0 <= self.min_y0 <= self.max_y1 < rows

    @property
    def is_2d_length(self) -> bool:
        """Whether distances in mm can be taken: a 2-D region, both units cm, both steps usable."""
        return (
            self.spatial_format == SPATIAL_2D
            and self.units_x == UNIT_CM
            and self.units_y == UNIT_CM
            and _usable(self.delta_x)
            and _usable(self.delta_y)
        )

    @property
    def mm_per_px(self) -> tuple[float, float]:
        """Size of a pixel in mm as (row, column), both positive.

        Raises
        ------
        ValueError
            If the region does not measure lengths (see `is_2d_length`).
        """
        if not self.is_2d_length or self.delta_x is None or self.delta_y is None:
            raise ValueError(
                "this ultrasound region has no mm per pixel: ask is_2d_length before mm_per_px"
            )
        return abs(self.delta_y) * MM_PER_CM, abs(self.delta_x) * MM_PER_CM

    @property
    def protected(self) -> bool:
        """Whether the maker forbids replacing this region's scale (bit 1 of the flags)."""
        return bool(self.flags & _FLAG_SCALING_PROTECTED)

    @property
    def low_priority(self) -> bool:
        """Whether overlapping regions rule its pixel values (bit 0); its geometry stays valid."""
        return bool(self.flags & _FLAG_LOW_PRIORITY)


def _usable(delta: float | None) -> bool:
    return delta is not None and isfinite(delta) and delta != 0
