"""Find a roughly traced shaft in a frame and cut clean sections across it."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from annot.calibration.scale import NoScale
from annot.geometry import PixelPoint, along, length_px, normals_of, profiles

FloatArray = NDArray[np.float64]
SEARCH_PX = 45.0  # how far from the trace a shaft is looked for
MIN_BLOCK_PX = 6.0  # longer than the blur, so that neighbouring blocks scatter independently
MAX_BLOCKS = 24
MIN_BLOCKS = 5
LEAST_NOISE = 1e-4  # of the background: rounding to whole counts leaves more


@dataclass(frozen=True, slots=True, kw_only=True)
class Reading:
    """One look at a reference object: a frame's pixels and a rough trace along it."""

    frame: NDArray[np.generic]
    trace: tuple[PixelPoint, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Sections:
    """Mean profiles across a shaft, one row per block along it, background divided out.

    Attributes
    ----------
    offset_px : array, shape (m,)
        Signed distance from the centreline.
    profile : array, shape (k, m)
        Transmitted intensity, 1 for the undisturbed background.
    place : array, shape (k, 2)
        (row, column) of each block's middle on the centreline.
    normal : array, shape (k, 2)
    reading : array of int, shape (k,)
        Which reading a block comes from.
    width_px : float
        First guess of the shaft's width.
    length_px : float
        Length of the shortest trace.
    noise : float
        Standard deviation of one sample's noise, from the difference between both halves of a
        block: what the picture itself says, whatever lies there.
    """

    offset_px: FloatArray
    profile: FloatArray
    place: FloatArray
    normal: FloatArray
    reading: NDArray[np.intp]
    width_px: float
    length_px: float
    noise: float

    @property
    def across(self) -> tuple[float, float]:
        """Return the usual direction across the shaft, (row, column), both without sign."""
        row, column = np.sqrt(np.mean(self.normal**2, axis=0))
        return float(row), float(column)


@dataclass(frozen=True, slots=True, kw_only=True)
class _Located:
    """Stations of a trace with, per block, how far off it the shaft's centre lies."""

    place: FloatArray
    tangent: FloatArray
    width_px: float
    centre: FloatArray
    middle: FloatArray


def cut_sections(readings: Sequence[Reading]) -> Sections | NoScale:
    """Return clean sections of the shaft under rough traces, pooled over all readings.

    Parameters
    ----------
    readings : sequence of Reading
        One or more frames of the same object, each with a trace of at least two points that
        lies within about one diameter of the shaft's axis.

    Returns
    -------
    Sections, or NoScale with the reason: trace off the image, too short, shaft at the border.
    """
    located = []
    for reading in readings:
        fault = _fault_of_trace(reading)
        if fault:
            return NoScale(reason=fault)
        located.append(_locate(reading))
    width = float(np.median([found.width_px for found in located]))
    short = min(length_px(reading.trace) for reading in readings)
    if short < 5 * width:
        return NoScale(
            reason=(
                f"the trace is {short:.0f} px long, less than five times the shaft's width "
                f"of about {width:.0f} px; trace a longer piece, or no shaft lies there (points "
                "are row, column)"
            )
        )
    pieces = []
    for reading, found in zip(readings, located, strict=True):
        piece = _sample(reading, *_centreline(found), width=width)
        if isinstance(piece, NoScale):
            return piece
        pieces.append(piece)
    return Sections(
        offset_px=pieces[0].offset_px,
        profile=np.concatenate([piece.profile for piece in pieces]),
        place=np.concatenate([piece.place for piece in pieces]),
        normal=np.concatenate([piece.normal for piece in pieces]),
        reading=np.repeat(np.arange(len(pieces)), [len(piece.profile) for piece in pieces]),
        width_px=width,
        length_px=short,
        noise=float(np.median([piece.noise for piece in pieces])),
    )


def _fault_of_trace(reading: Reading) -> str:
    """Return what is wrong with a trace in words, empty when it can be used."""
    rows, columns = reading.frame.shape
    outside = [point for point in reading.trace if not point.is_inside(rows, columns)]
    if outside:
        return (
            f"the trace leaves the image at row {outside[0].row:g}, column "
            f"{outside[0].column:g} (the image has {rows} rows and {columns} columns)"
        )
    length = length_px(reading.trace)
    if length < MIN_BLOCKS * MIN_BLOCK_PX:
        return f"the trace is {length:.1f} px long; at least 30 px are needed"
    return ""


def _sample(
    reading: Reading, path: FloatArray, normal: FloatArray, *, width: float
) -> Sections | NoScale:
    """Sample across the centreline and average block by block."""
    reach = np.ceil(1.5 * width + 5.0)
    offset = np.arange(-reach, reach + 0.5)
    raw = profiles(reading.frame, path, normal, offset)
    if np.isnan(raw).any():
        return NoScale(
            reason=(
                f"the shaft or the {reach:.0f} px of background beside it leave the image; "
                "trace a piece farther from the border"
            )
        )
    blocks = np.array_split(np.arange(len(path)), _block_count(len(path)))
    mean = np.stack([raw[block].mean(axis=0) for block in blocks])
    flank = flank_of(offset, width)
    slope = np.polynomial.polynomial.polyfit(offset[flank], mean[:, flank].T, 1)
    background = slope[0][:, None] + slope[1][:, None] * offset
    if np.any(background <= 0):
        return NoScale(reason="the background beside the shaft is black; choose another frame")
    return Sections(
        offset_px=offset,
        profile=mean / background,
        place=np.stack([path[block].mean(axis=0) for block in blocks]),
        normal=np.stack([normal[block].mean(axis=0) for block in blocks]),
        reading=np.zeros(len(blocks), dtype=int),
        width_px=width,
        length_px=float(len(path)),
        noise=_noise_of(raw, blocks, background),
    )


def _noise_of(raw: FloatArray, blocks: list[NDArray[np.intp]], background: FloatArray) -> float:
    """Return the noise of a block's mean in units of the background, robustly.

    Half the difference between the means of a block's halves scatters as the mean itself; the
    median of its size leaves edges that drift within a block aside.
    """
    halves = [np.array_split(block, 2) for block in blocks]
    apart = [(raw[one].mean(axis=0) - raw[two].mean(axis=0)) / 2 for one, two in halves]
    size = np.abs(np.stack(apart) / background)
    return max(float(np.median(size)) / 0.6745, LEAST_NOISE)


def flank_of(offset: FloatArray, width: float) -> NDArray[np.bool_]:
    """Return which offsets lie beside a shaft of about that width."""
    return np.abs(offset) > 0.8 * width + 2.0


def _block_count(stations: int) -> int:
    return int(np.clip(stations // MIN_BLOCK_PX, MIN_BLOCKS, MAX_BLOCKS))


def _locate(reading: Reading) -> _Located:
    """Find a common width and, per block, where its centre lies off the trace.

    A window of width w against flanks of half its width: the strongest contrast times √w is
    the matched filter of a bar on a slope.
    """
    places, tangents = along(reading.trace, np.arange(0.5, length_px(reading.trace), 1.0))
    offset = np.arange(-SEARCH_PX, SEARCH_PX + 0.5, 0.5)
    raw = profiles(reading.frame, places, normals_of(tangents), offset)
    blocks = np.array_split(np.arange(len(places)), _block_count(len(places)))
    mean = np.stack([_filled(raw[block]).mean(axis=0) for block in blocks])
    widths = np.geomspace(3.0, 40.0, 28)
    scores = [np.abs(_bar_contrast(mean, offset, width)) * np.sqrt(width) for width in widths]
    near = [np.where(np.abs(offset) <= 0.75 * width + 4.0, 1.0, 0.0) for width in widths]
    best = [
        np.median(np.max(score * mask, axis=1)) for score, mask in zip(scores, near, strict=True)
    ]
    chosen = int(np.argmax(best))
    return _Located(
        place=places,
        tangent=tangents,
        width_px=float(widths[chosen]),
        centre=offset[np.argmax(scores[chosen] * near[chosen], axis=1)],
        middle=np.array([block.mean() for block in blocks]),
    )


def _filled(raw: FloatArray) -> FloatArray:
    """Stretch the last good value over samples off the image, so that borders cast no bar."""
    good = ~np.isnan(raw)
    index = np.where(good, np.arange(raw.shape[1]), 0)
    forward = np.maximum.accumulate(index, axis=1)
    filled = np.take_along_axis(raw, forward, axis=1)
    first = np.argmax(good, axis=1)
    head = np.take_along_axis(raw, first[:, None], axis=1)
    return np.where(np.isnan(filled), head, filled)


def _bar_contrast(mean: FloatArray, offset: FloatArray, width: float) -> FloatArray:
    """Mean inside a window of that width less the mean of both flanks, at every offset."""
    step = offset[1] - offset[0]
    total = np.cumsum(np.pad(mean, ((0, 0), (1, 0))), axis=1) * step
    edges = np.concatenate([offset - step / 2, [offset[-1] + step / 2]])

    def integral(at: FloatArray) -> FloatArray:
        return np.stack([np.interp(at, edges, row) for row in total])

    inner = integral(offset + width / 2) - integral(offset - width / 2)
    outer = integral(offset + width) - integral(offset - width)
    contrast = inner / width - (outer - inner) / width
    whole = (offset - width >= edges[0]) & (offset + width <= edges[-1])
    return np.where(whole, contrast, 0.0)


def _centreline(found: _Located) -> tuple[FloatArray, FloatArray]:
    """Return a smooth path through the block centres, and its normals, at every station.

    A cubic in the arc length follows a gently curved shaft; blocks that something else led
    astray are dropped by their miss.
    """
    nearest = np.round(found.middle).astype(int)
    spots = found.place[nearest] + found.centre[:, None] * normals_of(found.tangent)[nearest]
    keep = np.ones(len(spots), dtype=bool)
    curve = np.zeros((4, 2))
    for _ in range(3):
        curve = np.polynomial.polynomial.polyfit(found.middle[keep], spots[keep], 3)
        miss = np.hypot(*(spots - np.polynomial.polynomial.polyval(found.middle, curve).T).T)
        keep = miss <= max(1.0, 4.0 * float(np.median(miss)))
        if keep.sum() < MIN_BLOCKS:
            keep = np.argsort(np.argsort(miss)) < MIN_BLOCKS
    stations = np.arange(len(found.place), dtype=float)
    path = np.polynomial.polynomial.polyval(stations, curve).T
    slope = np.polynomial.polynomial.polyval(stations, np.polynomial.polynomial.polyder(curve)).T
    return path, normals_of(slope / np.hypot(slope[:, 0], slope[:, 1])[:, None])
