"""Points that lie on a lattice or in a row at one spacing, among others that do not."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

FloatArray = NDArray[np.float64]
OFF_STEP = 0.22  # of a spacing: farther from its place, a point is not of the lattice
SQUARE = (0.75, 1.33)  # one spacing over the other: cells are about square
LEAST_ANGLE = 0.35  # cosine between the two directions, at most
LEAST_IN_ROW = 4
ALONG = 0.94  # cosine of how far a row asked for by its direction may lie off it
LARGEST_TURN = 0.75  # cosine of the largest turn from one gap to the next, at least
GAPS_ALIKE = 1.35


@dataclass(frozen=True, slots=True, kw_only=True)
class Lattice:
    """An affine lattice: first node, two steps, nodes along both, their mean spacing."""

    start: FloatArray
    steps: FloatArray
    size: tuple[int, int]
    spacing: float

    def corners(self, *, beyond: float = 0.0) -> FloatArray:
        """Return the four outermost nodes in turn, or places so many spacings beyond them."""
        (one, two), low = self.size, -beyond
        high = (one - 1 + beyond, two - 1 + beyond)
        turn = np.array([[low, low], [high[0], low], [high[0], high[1]], [low, high[1]]])
        return np.asarray(self.start + turn @ self.steps)


@dataclass(frozen=True, slots=True, kw_only=True)
class Row:
    """Points in order along a row and their usual spacing."""

    points: FloatArray
    spacing: float

    def trace(self, *, beyond: float = 0.5) -> FloatArray:
        """Return the points with an end added at either side, so many spacings farther."""
        first = self.points[0] + beyond * (self.points[0] - self.points[1])
        last = self.points[-1] + beyond * (self.points[-1] - self.points[-2])
        return np.concatenate([[first], self.points, [last]])


def find_lattice(points: FloatArray, *, least: int = 9) -> Lattice | None:
    """Return the lattice that most points lie on; None if fewer than `least` do."""
    if len(points) < least:
        return None
    steps = _steps(points)
    if steps is None:
        return None
    index = _indexed(points, steps)
    if len(index) < least:
        return None
    members, place = np.array(list(index)), np.array(list(index.values()))
    low = place.min(axis=0)
    basis = np.column_stack([np.ones(len(place)), place - low])
    fit = np.linalg.lstsq(basis, points[members], rcond=None)[0]
    size = place.max(axis=0) - low + 1
    if min(size) < 2:
        return None
    return Lattice(
        start=fit[0],
        steps=fit[1:],
        size=(int(size[0]), int(size[1])),
        spacing=float(np.sqrt(np.prod(np.hypot(*fit[1:].T)))),
    )


def _steps(points: FloatArray) -> FloatArray | None:
    """Return the two steps between neighbours, from what is usual among nearest neighbours."""
    apart = points[:, np.newaxis] - points
    distance = np.hypot(apart[..., 0], apart[..., 1])
    np.fill_diagonal(distance, np.inf)
    usual = float(np.median(distance.min(axis=1)))
    near = apart[(distance > 0.7 * usual) & (distance < SQUARE[1] * usual)]
    if len(near) < 4:
        return None
    near = np.where(
        ((near[:, 0] < 0) | ((near[:, 0] == 0) & (near[:, 1] < 0)))[:, None], -near, near
    )
    found: list[FloatArray] = []
    for _ in range(2):
        if not len(near):
            return None
        alike = (
            np.minimum(
                np.hypot(*(near[:, np.newaxis] - near).transpose(2, 0, 1)),
                np.hypot(*(near[:, np.newaxis] + near).transpose(2, 0, 1)),
            )
            < OFF_STEP * usual
        )
        best = int(np.argmax(alike.sum(axis=1)))
        group = near[alike[best]]
        group = group * np.sign(group @ near[best])[:, np.newaxis]
        step = np.median(group, axis=0)
        found.append(step)
        cosine = np.abs(near @ step) / (np.hypot(*near.T) * np.hypot(*step))
        near = near[cosine < LEAST_ANGLE]
    return np.array(found)


def _indexed(points: FloatArray, steps: FloatArray) -> dict[int, tuple[int, int]]:
    """Return whole steps of the points that a walk from neighbour to neighbour reaches."""
    best: dict[int, tuple[int, int]] = {}
    size = float(np.min(np.hypot(*steps.T)))
    left = set(range(len(points)))
    while left:
        start = left.pop()
        found, waiting = {start: (0, 0)}, [start]
        while waiting:
            here = waiting.pop()
            for way in ((1, 0), (-1, 0), (0, 1), (0, -1)):
                aim = points[here] + np.array(way) @ steps
                miss = np.hypot(*(points - aim).T)
                there = int(np.argmin(miss))
                if miss[there] < OFF_STEP * size and there not in found:
                    found[there] = (found[here][0] + way[0], found[here][1] + way[1])
                    waiting.append(there)
        left -= set(found)
        best = found if len(found) > len(best) else best
    return best


def find_row(points: FloatArray, *, way: FloatArray | None = None) -> Row | None:
    """Return the longest chain of points at one spacing that nowhere turns sharply.

    Parameters
    ----------
    points : array, shape (n, 2)
    way : array, shape (2,), optional
        Unit direction along which the row runs, within about 20 degrees.
    """
    if len(points) < LEAST_IN_ROW:
        return None
    apart = points[:, np.newaxis] - points
    distance = np.hypot(apart[..., 0], apart[..., 1])
    if way is not None:
        astray = np.abs(apart @ way) < ALONG * distance
        distance = np.where(astray, np.inf, distance)
    best: list[int] = []
    for first in range(len(points)):
        for second in np.argsort(distance[first])[1:4]:
            if not 0 < distance[first, second] < np.inf:
                continue
            chain = _continued(points, [first, int(second)])
            chain = _continued(points, chain[::-1])
            best = chain if len(chain) > len(best) else best
    if len(best) < LEAST_IN_ROW:
        return None
    row = points[best]
    return Row(points=row, spacing=float(np.median(np.hypot(*np.diff(row, axis=0).T))))


def _continued(points: FloatArray, chain: list[int]) -> list[int]:
    """Go on from a chain's end: the next one lies about as far ahead, or one place is empty."""
    chain = list(chain)
    gap = float(np.hypot(*(points[chain[1]] - points[chain[0]])))
    while True:
        ahead = points[chain[-1]] - points[chain[-2]]
        ahead = ahead / np.hypot(*ahead)
        away = points - points[chain[-1]]
        far = np.hypot(*away.T)
        cosine = (away @ ahead) / np.maximum(far, 1e-9)
        steps = np.maximum(np.round(far / gap), 1)
        fits = (
            (cosine > LARGEST_TURN)
            & (far > 0)
            & (steps <= 2)
            & (far / steps < gap * GAPS_ALIKE)
            & (far / steps > gap / GAPS_ALIKE)
        )
        fits[chain] = False
        if not fits.any():
            return chain
        chain.append(int(np.flatnonzero(fits)[np.argmin(far[fits])]))
