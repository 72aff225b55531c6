"""Where a sector's beams start, from the straight edges of its picture."""

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from annot.geometry import PixelPoint

FloatArray = NDArray[np.float64]
BoolArray = NDArray[np.bool_]

DARK_PART = 0.02  # of the brightest: below it a pixel counts as outside the sector
LEAST_ROWS = 40
STRAIGHT_PX = 1.5
OPENING_DEG = (15.0, 150.0)


@dataclass(frozen=True, slots=True, kw_only=True)
class NoApex:
    """The beams' start cannot be told, and why. False in a condition."""

    reason: str

    def __bool__(self) -> bool:
        return False


def fit_apex(frames: Sequence[NDArray[np.generic]]) -> PixelPoint | NoApex:
    """Fit both edges of a sector and return where they meet, in the frames' own pixels.

    Parameters
    ----------
    frames : sequence of arrays, shape (rows, columns) or (rows, columns, 3)
        The region's pixels only; several, so that what is dark in one is lit in another.

    Returns
    -------
    PixelPoint, which may lie above the picture, or NoApex.
    """
    lit = _lit(np.max([_grey(frame) for frame in frames], axis=0))
    rows = np.flatnonzero(lit.any(axis=1))
    if rows.size < LEAST_ROWS:
        return NoApex(reason="the picture shows no sector")
    # within one half turn the edges run to the rows where the sector is widest
    first = np.array([int(np.argmax(lit[row])) for row in rows], dtype=float)
    last = np.array([lit.shape[1] - 1 - int(np.argmax(lit[row, ::-1])) for row in rows], float)
    left = _edge(rows, first, limit=0.0)
    right = _edge(rows, last, limit=lit.shape[1] - 1.0)
    if left is None or right is None:
        return NoApex(reason="the sector's edges are not straight lines")
    (left_at, left_slope), (right_at, right_slope) = left, right
    opening = math.degrees(math.atan(right_slope) - math.atan(left_slope))
    if not OPENING_DEG[0] <= opening <= OPENING_DEG[1]:
        return NoApex(reason=f"the picture's edges open by {opening:.0f}°, as no sector does")
    row = (left_at - right_at) / (right_slope - left_slope)
    if row > rows[0] + 0.25 * (rows[-1] - rows[0]):
        return NoApex(reason="the picture's edges meet below the sector's top")
    return PixelPoint(row, left_at + left_slope * row)


def _grey(frame: NDArray[np.generic]) -> FloatArray:
    """Return grey values, coloured pixels (overlays, flow, text) dark."""
    if frame.ndim == 2:
        return np.asarray(frame, dtype=float)
    colours = np.asarray(frame, dtype=float)
    grey = colours.min(axis=2)
    return np.where(colours.max(axis=2) - grey > 24.0, 0.0, grey)


def _lit(brightest: FloatArray) -> BoolArray:
    """Return the largest connected piece that is not dark, small gaps closed."""
    from scipy.ndimage import binary_closing, binary_opening, label

    raised = brightest - brightest.min()
    mask = raised > DARK_PART * raised.max()
    mask = binary_closing(np.pad(mask, 4), np.ones((3, 3)), iterations=2)[4:-4, 4:-4]
    mask = binary_opening(mask, np.ones((3, 3)))
    pieces, count = label(mask)
    if count == 0:
        return np.zeros_like(mask, dtype=bool)
    sizes = np.bincount(pieces.ravel())[1:]
    return np.asarray(pieces == 1 + int(np.argmax(sizes)))


def _edge(
    rows: NDArray[np.intp], columns: FloatArray, *, limit: float
) -> tuple[float, float] | None:
    """Fit column = at + slope·row to the rows that lie on a line, robustly.

    The arc below and the cut by the picture's border (`limit`) are left out by consensus: of all
    lines through two rows the one that most rows keep to, then least squares on those.
    """
    inside = np.abs(columns - limit) > 1.0
    rows, columns = rows[inside], columns[inside]
    if rows.size < LEAST_ROWS:
        return None
    picks = np.unique(np.linspace(0, rows.size - 1, 40).round().astype(int))
    first, second = (one.ravel() for one in np.meshgrid(picks, picks))
    apart = rows[second] - rows[first] >= LEAST_ROWS // 2
    first, second = first[apart], second[apart]
    if first.size == 0:
        return None
    slopes = (columns[second] - columns[first]) / (rows[second] - rows[first])
    starts = columns[first] - slopes * rows[first]
    away = np.abs(columns[None, :] - starts[:, None] - slopes[:, None] * rows[None, :])
    best = int(np.argmax((away < STRAIGHT_PX).sum(axis=1)))
    kept = away[best] < STRAIGHT_PX
    if kept.sum() < LEAST_ROWS or kept.sum() < 0.3 * rows.size:
        return None
    slope, at = np.polyfit(rows[kept].astype(float), columns[kept], 1)
    return float(at), float(slope)
