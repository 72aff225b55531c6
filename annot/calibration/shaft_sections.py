"""Find a roughly traced shaft in a frame and cut clean sections across it."""

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from annot.calibration.open_field import first_hidden, hidden_field
from annot.calibration.scale import NoScale
from annot.calibration.shaft_location import MIN_BLOCKS, Reading, crop_around, locate_shaft
from annot.geometry import along, length_px, profiles

FloatArray = NDArray[np.float64]
MIN_BLOCK_PX = 6.0  # longer than the blur, so that neighbouring blocks scatter independently
MAX_BLOCKS = 24

LEAST_NOISE = 1e-3  # of the background: what the model misses of renderings without noise


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
    readings = [replace(one, hidden=hidden_field(one.frame, one.hidden)) for one in readings]
    located = []
    for reading in readings:
        fault = _fault_of_trace(reading)
        if fault:
            return NoScale(reason=fault)
        located.append(locate_shaft(reading))
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
        piece = _sample(reading, found.path, found.normal, width=width)
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
    covered = first_hidden(reading.hidden, along(reading.trace, np.arange(0.0, length))[0])
    if covered is not None:
        return _under_shutter(*covered)
    if length < MIN_BLOCKS * MIN_BLOCK_PX:
        return f"the trace is {length:.1f} px long; at least 30 px are needed"
    return ""


def _under_shutter(row: int, column: int) -> str:
    return (
        f"the shaft or the background beside it reaches the shutter at row {row}, column {column}; "
        "trace a piece farther inside"
    )


def _sample(
    reading: Reading, path: FloatArray, normal: FloatArray, *, width: float
) -> Sections | NoScale:
    """Sample across the centreline and average block by block."""
    reach = reach_of(width)
    offset = np.arange(-reach, reach + 0.5)
    frame, corner = crop_around(reading.frame, path, reach)
    raw = profiles(frame, path - corner, normal, offset)
    if np.isnan(raw).any():
        return NoScale(
            reason=(
                f"the shaft or the {reach:.0f} px of background beside it leave the image; "
                "trace a piece farther from the border"
            )
        )
    spots = path[:, None, :] + offset[None, :, None] * normal[:, None, :]
    covered = first_hidden(reading.hidden, spots)
    if covered is not None:
        return NoScale(reason=_under_shutter(*covered))
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


def reach_of(width: float) -> float:
    """Return how far from its axis a shaft of about that width is sampled."""
    return float(np.ceil(1.5 * width + 5.0))


def flank_of(offset: FloatArray, width: float) -> NDArray[np.bool_]:
    """Return which offsets lie beside a shaft of about that width."""
    return np.abs(offset) > 0.8 * width + 2.0


def _block_count(stations: int) -> int:
    return int(np.clip(stations // MIN_BLOCK_PX, MIN_BLOCKS, MAX_BLOCKS))


__all__ = ["MIN_BLOCKS", "Reading", "Sections", "cut_sections", "flank_of", "reach_of"]
