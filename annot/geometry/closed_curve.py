"""A closed curve through vertices: its area and perimeter, smooth and as the bare polygon."""

from collections.abc import Sequence
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from annot.geometry.points import PixelPoint

FloatArray = NDArray[np.float64]
# Gauss–Legendre nodes per piece: exact for the area (degree 5), 1e-6 for the perimeter.
_NODES, _WEIGHTS = np.polynomial.legendre.leggauss(5)


def chord_knots(points: Sequence[PixelPoint]) -> tuple[float, ...]:
    """Return the arc lengths of the vertices along the closed polygon, the whole round last."""
    corners = np.asarray([*points, points[0]], dtype=float)
    steps = np.diff(corners, axis=0)
    return (0.0, *(float(one) for one in np.cumsum(np.hypot(steps[:, 0], steps[:, 1]))))


@lru_cache(maxsize=64)
def _weights(knots: tuple[float, ...]) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Return what turns vertices into places and slopes of the curve, and the nodes' weights.

    The curve is linear in its vertices, so it is solved once, for unit vertices.
    """
    from scipy.interpolate import CubicSpline

    stations = np.asarray(knots)
    count = len(stations) - 1
    unit = np.eye(count)
    curve = CubicSpline(stations, np.vstack([unit, unit[:1]]), bc_type="periodic")
    half = 0.5 * np.diff(stations)
    places = (stations[:-1, None] + half[:, None] * (1.0 + _NODES)).ravel()
    return curve(places), curve(places, 1), (half[:, None] * _WEIGHTS).ravel()


@lru_cache(maxsize=64)
def _swept(knots: tuple[float, ...]) -> FloatArray:
    """Return M with ½·rᵀ·M·c the area inside: bilinear in the vertices' rows and columns."""
    at, slope, weight = _weights(knots)
    half = at.T @ (weight[:, None] * slope)
    return np.asarray(half - half.T)


@lru_cache(maxsize=64)
def _along(points: tuple[PixelPoint, ...], knots: tuple[float, ...]) -> tuple[FloatArray, ...]:
    """Return what each vertex's row and column add to the length along the curve's own course."""
    _, slope, weight = _weights(knots)
    steps = slope @ np.asarray(points, dtype=float)
    unit = steps / np.hypot(steps[:, 0], steps[:, 1])[:, None]
    return tuple(np.asarray(slope.T @ (weight * unit[:, axis])) for axis in (0, 1))


def smooth_area(rows: FloatArray, columns: FloatArray, knots: tuple[float, ...]) -> FloatArray:
    """Return the area inside the periodic cubic through vertices, ½|∮ r dc − c dr|.

    Parameters
    ----------
    rows, columns : arrays, shape (n, …)
        Vertices along the first axis, in any unit of length.
    knots : tuple of float, n + 1 of them
        The curve's parameter at the vertices, as `chord_knots` gives it.
    """
    turned = np.tensordot(_swept(knots), columns, axes=(1, 0))
    return np.asarray(0.5 * np.abs((rows * turned).sum(axis=0)))


def smooth_perimeter(
    rows: FloatArray,
    columns: FloatArray,
    course: tuple[PixelPoint, ...],
    knots: tuple[float, ...],
) -> FloatArray:
    """Return the length of the periodic cubic through vertices, along a given course.

    Parameters
    ----------
    course : tuple of PixelPoint
        Vertices whose curve gives the direction at every place: the drawn ones. Where rows and
        columns are these, this is the curve's length; where they stray it is the first-order
        length. The full one grows with every wiggle, so that drawing noise about a drawn curve
        would count the hand's noise twice.
    """
    down, across = _along(course, knots)
    length = np.tensordot(down, rows, axes=(0, 0)) + np.tensordot(across, columns, axes=(0, 0))
    return np.asarray(length, dtype=float)


def polygon_area(rows: FloatArray, columns: FloatArray) -> FloatArray:
    """Return the area of the polygon of the same vertices (surveyor's formula)."""
    swept = rows * np.roll(columns, -1, axis=0) - columns * np.roll(rows, -1, axis=0)
    return np.asarray(0.5 * np.abs(swept.sum(axis=0)))


def polygon_perimeter(rows: FloatArray, columns: FloatArray) -> FloatArray:
    """Return the length once round the polygon."""
    down, across = (np.roll(one, -1, axis=0) - one for one in (rows, columns))
    return np.asarray(np.hypot(down, across).sum(axis=0))


def crosses_itself(points: Sequence[PixelPoint]) -> bool:
    """Whether two sides of the closed polygon cross, so that it has no one inside."""
    start = np.asarray(points, dtype=float)
    end = np.roll(start, -1, axis=0)
    count = len(start)
    first, second = np.triu_indices(count, 2)
    apart = (second - first) < count - 1  # the last side and the first meet at a corner
    first, second = first[apart], second[apart]

    def side(corner: FloatArray, of: NDArray[np.intp]) -> FloatArray:
        run, away = end[of] - start[of], corner - start[of]
        return np.asarray(np.sign(run[:, 0] * away[:, 1] - run[:, 1] * away[:, 0]))

    split = side(start[second], first) * side(end[second], first) < 0
    splits = side(start[first], second) * side(end[first], second) < 0
    return bool(np.any(split & splits))
