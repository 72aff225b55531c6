"""Where a point is: the array's convention, the standard's convention, one way between them."""

import math
from typing import NamedTuple


class PixelPoint(NamedTuple):
    """Row and column, 0-based floats; a pixel's centre lies at whole numbers."""

    row: float
    column: float

    def is_inside(self, rows: int, columns: int) -> bool:
        """Whether the point lies on the image, whose outer pixels reach half a pixel out."""
        return -0.5 <= self.row <= rows - 0.5 and -0.5 <= self.column <= columns - 0.5


class ImagePoint(NamedTuple):
    """Column and row as DICOM spatial coordinates (PS3.3 C.18.6): centres at .5, origin outside."""

    column: float
    row: float


def to_image_point(point: PixelPoint) -> ImagePoint:
    """Convert to the standard's spatial coordinates, half a pixel away and swapped."""
    return ImagePoint(point.column + 0.5, point.row + 0.5)


def to_pixel_point(point: ImagePoint) -> PixelPoint:
    """Convert from the standard's spatial coordinates."""
    return PixelPoint(point.row - 0.5, point.column - 0.5)


def pixel_point(pair: "tuple[float, float] | list[float]") -> PixelPoint:
    """Return a point from a (row, column) pair, refusing what is not finite.

    Raises
    ------
    ValueError
        If a coordinate is not a finite number.
    """
    row, column = (float(value) for value in pair)
    if not (math.isfinite(row) and math.isfinite(column)):
        raise ValueError(f"A point needs two finite numbers, got {pair}.")
    return PixelPoint(row, column)
