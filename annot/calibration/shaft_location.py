"""Where a roughly traced shaft lies: its width, and a smooth line through its middle."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from annot.calibration.open_field import is_hidden
from annot.geometry import PixelPoint, along, length_px, normals_of, profiles

FloatArray = NDArray[np.float64]
SEARCH_PX = 45.0  # how far from the trace a shaft is looked for
STEP_PX = 0.5
WIDTHS_PX = np.array([3, 4, 5, 6, 7, 8, 9, 10, 11, 12, 14, 16, 18, 20, 23, 26, 30, 34, 38])
BLOCK_PX = 5.0
MIN_BLOCKS = 5
DARKER_FLANK = 0.75  # 0 takes the mean of both flanks, 1 the darker one alone
MARGIN_PX = 12  # beyond the samples, so that a cut picture interpolates as a whole one


@dataclass(frozen=True, slots=True, kw_only=True)
class Reading:
    """One look at a reference object: a frame's pixels, a rough trace along it, what is hidden."""

    frame: NDArray[np.generic]
    trace: tuple[PixelPoint, ...]
    hidden: NDArray[np.bool_] | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class LocatedShaft:
    """A smooth path, shape (n, 2), a pixel per step, its normals, and the width seen."""

    path: FloatArray
    normal: FloatArray
    width_px: float


def locate_shaft(reading: Reading) -> LocatedShaft:
    """Find a common width and a smooth line near the trace that most of the trace supports.

    A window of width w against flanks of half its width: the contrast times √w is the matched
    filter of a bar on a slope. A soft edge has a darker side and a brighter one, where a bar has
    two brighter ones, so it is mostly the darker flank that counts. Something darker that crosses
    answers louder than the shaft, so each block's say is capped: the line is where most blocks, not
    the darkest ones, see a bar.
    """
    places, tangents = along(reading.trace, np.arange(0.5, length_px(reading.trace), 1.0))
    offset = np.arange(-SEARCH_PX, SEARCH_PX + STEP_PX / 2, STEP_PX)
    frame, corner = crop_around(reading.frame, places, SEARCH_PX)
    raw = profiles(frame, places - corner, normals_of(tangents), offset)
    if reading.hidden is not None:
        spots = places[:, None, :] + offset[None, :, None] * normals_of(tangents)[:, None, :]
        raw = np.where(is_hidden(reading.hidden, spots), np.nan, raw)
    count = max(int(len(places) // BLOCK_PX), MIN_BLOCKS)
    blocks = np.array_split(np.arange(len(places)), count)
    mean = np.stack([_filled(raw[block]).mean(axis=0) for block in blocks])
    middle = np.array([block.mean() for block in blocks])
    total = np.cumsum(np.pad(mean, ((0, 0), (1, 0))), axis=1) * STEP_PX
    found = [_best_line(_bar_scores(total, width), offset, width) for width in WIDTHS_PX]
    width, centre, _ = max(found, key=lambda one: one[2])
    nearest = np.round(middle).astype(int)
    spots = places[nearest] + centre[:, None] * normals_of(tangents)[nearest]
    path, normal = smooth_path(middle, spots, len(places))
    return LocatedShaft(path=path, normal=normal, width_px=width)


def crop_around(
    frame: NDArray[np.generic], places: FloatArray, reach_px: float
) -> tuple[NDArray[np.generic], FloatArray]:
    """Return the part of a frame that samples within a reach of places need, and its corner."""
    low = np.floor(places.min(axis=0) - reach_px).astype(int) - MARGIN_PX
    high = np.ceil(places.max(axis=0) + reach_px).astype(int) + MARGIN_PX + 1
    low = np.maximum(low, 0)
    return frame[low[0] : max(high[0], 1), low[1] : max(high[1], 1)], low.astype(float)


def smooth_path(middle: FloatArray, spots: FloatArray, count: int) -> tuple[FloatArray, FloatArray]:
    """Return a smooth path through block centres, and its normals, at every station.

    A cubic in the arc length follows a gently curved shaft; blocks that something else led astray
    are dropped by their miss.
    """
    polynomial = np.polynomial.polynomial
    arc = middle / count
    keep = np.ones(len(spots), dtype=bool)
    curve = np.zeros((4, 2))
    for _ in range(4):
        degree = min(3, int(keep.sum()) - 1)
        curve = np.asarray(polynomial.polyfit(arc[keep], spots[keep], degree), dtype=np.float64)
        miss = np.hypot(*(spots - polynomial.polyval(arc, curve).T).T)
        keep = miss <= max(0.7, 3.0 * float(np.median(miss)))
        if keep.sum() < MIN_BLOCKS:
            keep = np.argsort(np.argsort(miss)) < MIN_BLOCKS
    stations = np.arange(count) / count
    path = np.asarray(polynomial.polyval(stations, curve).T, dtype=np.float64)
    slope = polynomial.polyval(stations, polynomial.polyder(curve)).T
    return path, normals_of(slope / np.hypot(slope[:, 0], slope[:, 1])[:, None])


def _filled(raw: FloatArray) -> FloatArray:
    """Stretch the last good value over samples off the image, so that borders cast no bar."""
    good = ~np.isnan(raw)
    index = np.where(good, np.arange(raw.shape[1]), 0)
    forward = np.maximum.accumulate(index, axis=1)
    filled = np.take_along_axis(raw, forward, axis=1)
    first = np.argmax(good, axis=1)
    head = np.take_along_axis(raw, first[:, None], axis=1)
    return np.where(np.isnan(filled), head, filled)


def _bar_scores(total: FloatArray, width: float) -> FloatArray:
    """Return, at every offset, by how much a bar of that width is darker than its flanks, × √w.

    `total` (k, n + 1) is the running sum of each block's profile; zero where the flanks leave it.
    """
    half, whole = round(width / STEP_PX / 2), round(width / STEP_PX)
    size = total.shape[1] - 1
    scores = np.zeros((len(total), size))
    at = np.arange(whole, size - whole)
    inner = total[:, at + half + 1] - total[:, at - half]
    left = total[:, at - half] - total[:, at - whole]
    right = total[:, at + whole + 1] - total[:, at + half + 1]
    beside = ((left + right) - DARKER_FLANK * np.abs(left - right)) / (2 * (whole - half) * STEP_PX)
    scores[:, at] = (beside - inner / ((2 * half + 1) * STEP_PX)) * np.sqrt(width)
    return scores


def _best_line(
    scores: FloatArray, offset: FloatArray, width: float
) -> tuple[float, FloatArray, float]:
    """Return width, centre per block and score of the line that most blocks support."""
    reach = 0.75 * width + 6.0
    ends = np.arange(-reach, reach + 0.5, 1.0)
    share = np.linspace(0.0, 1.0, len(scores))
    lines = ends[:, None, None] * (1 - share) + ends[None, :, None] * share
    index = np.round((lines - offset[0]) / STEP_PX).astype(int)
    seen = scores[np.arange(len(scores)), index]
    near = np.abs(offset) <= reach
    cap = float(np.quantile(np.max(scores[:, near], axis=1), 0.3))
    support = np.minimum(seen, cap).sum(axis=2)
    first, last = np.unravel_index(np.argmax(support), support.shape)
    line = lines[first, last]
    # within a third of the width of that line, each block's own best place
    away = np.abs(offset[None, :] - line[:, None])
    own = np.where(away <= max(2.5, width / 3), scores, -np.inf)
    centre = offset[np.argmax(own, axis=1)]
    return float(width), centre, float(np.median(np.minimum(seen[first, last], cap)))
