"""Between napari's vertices and pixel points: plain functions, no Qt, no layers.

napari and annot agree on (row, column) with a pixel's centre at whole numbers; a vertex has the
frame in front of them.
"""

import math
from collections.abc import Sequence
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from annot.geometry import PixelPoint

FloatArray = NDArray[np.float64]


def to_pixel_point(vertex: Sequence[float]) -> PixelPoint:
    """Return the point of a vertex (frame, row, column) or (row, column).

    Raises
    ------
    ValueError
        If the vertex has another number of coordinates, or one that is not finite.
    """
    if len(vertex) not in (2, 3):
        raise ValueError(f"A vertex has 2 or 3 coordinates, got {len(vertex)}.")
    row, column = (float(value) for value in vertex[-2:])
    if not (math.isfinite(row) and math.isfinite(column)):
        raise ValueError(f"A vertex needs finite coordinates, got {tuple(vertex)}.")
    return PixelPoint(row, column)


def to_vertices(points: Sequence[PixelPoint], frame: int) -> FloatArray:
    """Return vertices (frame, row, column), shape (n, 3), all on one frame."""
    return np.array([(frame, point.row, point.column) for point in points], dtype=float)


def clamp(point: PixelPoint, rows: int, columns: int) -> PixelPoint:
    """Return the nearest point between the centres of the outermost pixels."""
    return PixelPoint(
        min(max(point.row, 0.0), rows - 1.0), min(max(point.column, 0.0), columns - 1.0)
    )


def distance_px(first: PixelPoint, second: PixelPoint) -> float:
    """Return the distance of two points in pixels, for hit tests and not for measuring."""
    return math.hypot(first.row - second.row, first.column - second.column)


def distance_to_line_px(point: PixelPoint, line: Sequence[PixelPoint]) -> float:
    """Return how far a point lies from a polyline, in pixels, for hit tests."""
    return min(_to_piece(point, *pair) for pair in pairwise(line))


def _to_piece(point: PixelPoint, start: PixelPoint, end: PixelPoint) -> float:
    run = (end.row - start.row, end.column - start.column)
    square = run[0] ** 2 + run[1] ** 2
    if square == 0:
        return distance_px(point, start)
    along = ((point.row - start.row) * run[0] + (point.column - start.column) * run[1]) / square
    share = min(max(along, 0.0), 1.0)
    return distance_px(point, PixelPoint(start.row + share * run[0], start.column + share * run[1]))


def crossbars(points: Sequence[PixelPoint], bar_px: float) -> list[tuple[PixelPoint, ...]]:
    """Return a bar across either end of a polyline.

    Bars leave the ends uncovered by any blob, so that the landmark stays visible.
    """
    return [_bar(points[0], points[1], bar_px), _bar(points[-1], points[-2], bar_px)]


def _bar(at: PixelPoint, towards: PixelPoint, tick_px: float) -> tuple[PixelPoint, PixelPoint]:
    length = distance_px(at, towards)
    if length == 0:
        return at, at
    across = ((towards.column - at.column) / length, -(towards.row - at.row) / length)
    half = tick_px / 2
    return (
        PixelPoint(at.row + across[0] * half, at.column + across[1] * half),
        PixelPoint(at.row - across[0] * half, at.column - across[1] * half),
    )


def circle(centre: PixelPoint, rim: PixelPoint) -> tuple[PixelPoint, ...]:
    """Return a closed circle about a centre through a point of its rim."""
    radius = distance_px(centre, rim)
    angles = np.linspace(0, 2 * np.pi, 49)
    return tuple(
        PixelPoint(
            centre.row + radius * float(np.sin(angle)),
            centre.column + radius * float(np.cos(angle)),
        )
        for angle in angles
    )
