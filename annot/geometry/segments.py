"""Lengths and profiles along straight pieces, in pixels."""

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from annot.geometry.points import PixelPoint

FloatArray = NDArray[np.float64]


def length_px(points: Sequence[PixelPoint]) -> float:
    """Return the length of a polyline of at least two points, in pixels."""
    steps = np.diff(np.asarray(points, dtype=float), axis=0)
    return float(np.hypot(steps[:, 0], steps[:, 1]).sum())


def along(points: Sequence[PixelPoint], stations_px: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Return places on a polyline and its unit tangent there.

    Parameters
    ----------
    points : sequence of PixelPoint, at least two, no two neighbours the same
    stations_px : array, shape (n,)
        Arc lengths from the first point.

    Returns
    -------
    places, tangents : arrays, shape (n, 2)
        (row, column) and the direction (d_row, d_column) of the piece they lie on.
    """
    corners = np.asarray(points, dtype=float)
    steps = np.diff(corners, axis=0)
    lengths = np.hypot(steps[:, 0], steps[:, 1])
    arc = np.concatenate([[0.0], np.cumsum(lengths)])
    piece = np.clip(np.searchsorted(arc, stations_px, side="right") - 1, 0, len(lengths) - 1)
    tangents = steps[piece] / lengths[piece, None]
    places = corners[piece] + (stations_px - arc[piece])[:, None] * tangents
    return places, tangents


def normals_of(tangents: FloatArray) -> FloatArray:
    """Return unit normals, a quarter turn from each tangent, shape (n, 2)."""
    return np.stack([-tangents[:, 1], tangents[:, 0]], axis=1)


def profiles(
    frame: NDArray[np.generic], places: FloatArray, normals: FloatArray, offsets_px: FloatArray
) -> FloatArray:
    """Sample an image across a path, cubic between pixels.

    Parameters
    ----------
    frame : array, shape (rows, columns)
    places, normals : arrays, shape (n, 2)
    offsets_px : array, shape (m,)
        Signed distances along the normal.

    Returns
    -------
    array, shape (n, m)
        Grey values; NaN where a sample lies off the image.
    """
    from scipy.ndimage import map_coordinates

    spots = places[:, None, :] + offsets_px[None, :, None] * normals[:, None, :]
    return np.asarray(
        map_coordinates(
            np.asarray(frame, dtype=float),
            [spots[..., 0], spots[..., 1]],
            order=3,
            mode="constant",
            cval=np.nan,
        )
    )
