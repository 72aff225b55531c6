"""From stored values to the beam's intensity, as far as the file says how they hang together.

A shadow's model speaks of intensity. Pixel Intensity Relationship (0028,1040) says whether stored
values are proportional to it (LIN), its logarithm (LOG) or changed for display (DISP); its sign
(0028,1041) says whether they rise or fall with it (PS3.3 C.8.7.1 and C.8.11.3, from memory).
Where that leaves something open, more than one reading of the pixels comes back, and how much the
object's size differs between them is a part of its uncertainty that a person sees.
"""

import math
from collections.abc import Callable, Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from annot.calibration.allowances import LOG_GAIN

FloatArray = NDArray[np.float64]
PixelArray = NDArray[np.generic]
Frames = Mapping[int, PixelArray]
Table = Callable[[PixelArray], FloatArray]


@dataclass(frozen=True, slots=True, kw_only=True)
class StoredPixels:
    """What the file says of its pixels.

    Attributes
    ----------
    relation : str or None
        LIN, LOG, DISP or OTHER as stored; None where the file does not say.
    sign : int
        1 where values rise with intensity, -1 where they fall.
    to_intensity : callable, optional
        The file's own modality table, which PS3.3 asks for beside LOG: stored values to values
        proportional to intensity.
    hidden : array of bool, shape (rows, columns), optional
        What the file's own shutter covers.
    """

    relation: str | None = "LIN"
    sign: int = 1
    to_intensity: Table | None = None
    hidden: NDArray[np.bool_] | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Intensities:
    """Frames proportional to intensity: the likeliest reading first, then others that may be.

    Attributes
    ----------
    readings : tuple of mappings from frame index to array
    full_scale : tuple of float or None
        Largest value that a pixel of each reading can have.
    note : str
        What was assumed, empty where the file says it all.
    """

    readings: tuple[Frames, ...]
    full_scale: tuple[float | None, ...]
    note: str = ""


def intensities(frames: Frames, stored: StoredPixels, *, full_scale: float | None) -> Intensities:
    """Return frames proportional to intensity in every reading that the file leaves open.

    Parameters
    ----------
    frames : mapping from frame index to array of stored values
    stored : StoredPixels
    full_scale : float or None
        Largest value a pixel can store; the largest one seen where it is unknown.

    Notes
    -----
    A logarithm is stored as v = a ln I + b. The offset b cancels against the background; the gain
    is taken to spread the counts of the whole range over all values, a = top / ln(1 + top), and is
    varied by its allowance (from memory: common practice of detectors that store logarithms).
    """
    top = _top(frames, full_scale)
    upright = upright_frames(frames, stored, full_scale=full_scale)
    if stored.relation == "LIN":
        return Intensities(readings=(upright,), full_scale=(full_scale,))
    if stored.relation == "LOG" and stored.to_intensity is not None:
        table = stored.to_intensity
        linear = {n: table(frame) for n, frame in frames.items()}
        ends = table(np.array([0.0, top]))
        return Intensities(readings=(linear,), full_scale=(float(np.max(ends)),))
    if stored.relation == "LOG":
        gains = (1.0, LOG_GAIN.value, 1.0 / LOG_GAIN.value)
        return Intensities(
            readings=tuple(_antilogarithm(upright, top, gain) for gain in gains),
            full_scale=tuple(_exponential(top, top, gain) for gain in gains),
            note=(
                "stored values are logarithms of intensity without the table that undoes them: the "
                "usual gain is taken, and what another one changes is in the interval"
            ),
        )
    words = f"are {stored.relation} of" if stored.relation else "have no stated relation to"
    return Intensities(
        readings=(upright, _antilogarithm(upright, top, 1.0)),
        full_scale=(full_scale, _exponential(top, top, 1.0)),
        note=(
            f"stored values {words} the beam's intensity: taken as proportional to it, and what a "
            "logarithm would change is in the interval"
        ),
    )


def upright_frames(frames: Frames, stored: StoredPixels, *, full_scale: float | None) -> Frames:
    """Return frames whose values rise with the intensity, as stored where they do already."""
    if stored.sign >= 0:
        return frames
    top = _top(frames, full_scale)
    return {n: np.asarray(top - np.asarray(frame, dtype=float)) for n, frame in frames.items()}


def _top(frames: Frames, full_scale: float | None) -> float:
    return full_scale or max((float(np.max(frame)) for frame in frames.values()), default=1.0)


def _exponential(value: float, top: float, gain: float) -> float:
    return math.exp(value * math.log1p(top) / (gain * top))


def _antilogarithm(frames: Frames, top: float, gain: float) -> Frames:
    """Undo v = gain · top / ln(1 + top) · ln I; what is stored as nothing stays nothing."""
    rate = math.log1p(top) / (gain * top)
    values = {n: np.asarray(frame, dtype=float) for n, frame in frames.items()}
    return {n: np.where(one <= 0, 0.0, np.exp(one * rate)) for n, one in values.items()}
