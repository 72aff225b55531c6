"""Ends of a caliper found in a picture by textbook means, apart from the instrument's own.

A profile along the caliper, averaged across it, smoothed by a Gaussian. In X-ray the mean of the
places of the steepest slope and of the strongest outer bend: the first lies inside the edge of a
round shadow and the second outside by about as much. In echo the place where the level, as
displayed, has risen half-way from the blood to the brightest wall beyond.
"""

from typing import Literal

import numpy as np
from numpy.typing import NDArray

FloatArray = NDArray[np.float64]
PointPx = tuple[float, float]
STEP_PX = 0.25


def found_ends(
    frame: NDArray[np.generic],
    ends: tuple[PointPx, PointPx],
    *,
    kind: Literal["shadow", "wall"],
    reach_px: float = 9.0,
) -> tuple[PointPx, PointPx] | None:
    """Return both ends along the line through two rough ones, None where there is no edge.

    Parameters
    ----------
    frame : array, shape (rows, columns)
    ends : pair of (row, column)
        Rough ends; each is looked for within `reach_px` of its place, along the line.
    kind : {"shadow", "wall"}
        Edge of a contrast-filled shape, dark inside; or inner edge of a bright wall.
    """
    first, last = np.asarray(ends[0]), np.asarray(ends[1])
    length = float(np.hypot(*(last - first)))
    ahead = (last - first) / length
    offsets = []
    for start, outward in ((first, -ahead), (last, ahead)):
        along = np.arange(-2.0 * reach_px, 2.0 * reach_px + STEP_PX / 2, STEP_PX)
        profile = _profile(frame, start, outward, along, half_width=2 if kind == "shadow" else 4)
        if np.isnan(profile).any():
            return None
        edge = _shadow_edge if kind == "shadow" else _wall_edge
        offset = edge(profile, along, reach_px)
        if offset is None:
            return None
        offsets.append(start + offset * outward)
    return (
        (float(offsets[0][0]), float(offsets[0][1])),
        (float(offsets[1][0]), float(offsets[1][1])),
    )


def _profile(
    frame: NDArray[np.generic],
    start: FloatArray,
    outward: FloatArray,
    along: FloatArray,
    *,
    half_width: int,
) -> FloatArray:
    from scipy.ndimage import gaussian_filter1d, map_coordinates

    across = np.array([-outward[1], outward[0]])
    beside = np.arange(-half_width, half_width + 1.0)
    spots = start + along[:, None, None] * outward + beside[None, :, None] * across
    values = map_coordinates(
        np.asarray(frame, dtype=float), np.moveaxis(spots, 2, 0), order=1, cval=np.nan
    )
    return np.asarray(gaussian_filter1d(values.mean(axis=1), 1.2 / STEP_PX))


def _shadow_edge(profile: FloatArray, along: FloatArray, reach: float) -> float | None:
    slope = np.gradient(profile, along)
    near = np.flatnonzero(np.abs(along) <= reach)
    steepest = near[np.argmax(slope[near])]
    if slope[steepest] <= 0:
        return None
    bend = np.gradient(slope, along)
    outer = slice(int(steepest), int(steepest + 4.0 / STEP_PX))
    strongest = int(steepest) + int(np.argmin(bend[outer]))
    return float(along[steepest] + along[strongest]) / 2.0


def _wall_edge(profile: FloatArray, along: FloatArray, reach: float) -> float | None:
    near = np.flatnonzero(np.abs(along) <= reach)
    brightest = int(near[np.argmax(profile[near])])
    floor = float(np.quantile(profile[: near[0]], 0.5))
    half = 0.5 * (floor + profile[brightest])
    below = np.flatnonzero(profile[:brightest] < half)
    if not len(below) or profile[brightest] < floor + 20.0:
        return None
    low = int(below[-1])
    share = (half - profile[low]) / (profile[low + 1] - profile[low])
    return float(along[low] + share * STEP_PX)
