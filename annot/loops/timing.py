"""When each frame was taken, and how the header knows.

Source: PS3.3 C.7.6.5 (Cine). Times count from the first frame: FrameDelay, which runs from the
content time to that frame, is left out so that R-wave times share the same zero.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import accumulate, pairwise
from math import inf


@dataclass(frozen=True, slots=True, kw_only=True)
class FrameTimes:
    """Times of all frames of a loop.

    Attributes
    ----------
    times_ms
        One time per frame from the first frame on, or ``None`` if the header does not say.
    source
        The attribute the times come from: ``FrameTimeVector``, ``FrameTime``,
        ``FrameAcquisitionDateTime``, ``FrameReferenceDateTime``, ``AcquisitionTime``, ``CineRate``,
        ``RecommendedDisplayFrameRate``, or ``none``.
    """

    times_ms: tuple[float, ...] | None
    source: str


@dataclass(frozen=True, slots=True, kw_only=True)
class StatedTiming:
    """The timing attributes of one header as read, each ``None`` or empty if absent or unusable."""

    frames: int
    frame_time_ms: float | None = None
    increments_ms: Sequence[float] | None = None
    pointer: str | None = None
    acquired_ms: Sequence[float] | None = None
    acquired_source: str = ""
    cine_rate: float | None = None
    display_rate: float | None = None


# A constant cine frame shorter or longer than this is a wrong unit, not a real loop (common
# practice, no source: angiography and echo run at about 4 to 200 frames per second).
_LEAST_FRAME_MS = 1.0
LONGEST_FRAME_MS = 5000.0


def frame_times(stated: StatedTiming) -> tuple[FrameTimes, tuple[str, ...]]:
    """Choose the frame times of a loop from what its header states.

    Parameters
    ----------
    stated
        The attributes as read.

    Returns
    -------
    tuple
        The times with their source, and a sentence for every contradiction met on the way.
    """
    warnings: list[str] = []
    vector = _from_vector(stated, warnings)
    constant = _from_frame_time(stated, warnings)
    chosen = vector or constant
    if stated.increments_ms and stated.frame_time_ms is not None:
        warnings.append("FrameTime and FrameTimeVector are both present; only one may be.")
        if stated.pointer == "FrameTime":
            chosen = constant or vector
    if chosen is None:
        chosen = _from_acquisition(stated, warnings) or _from_rate(stated, warnings)
    return chosen or FrameTimes(times_ms=None, source="none"), tuple(warnings)


def _from_vector(stated: StatedTiming, warnings: list[str]) -> FrameTimes | None:
    if not stated.increments_ms:
        return None
    count, frames = len(stated.increments_ms), stated.frames
    if count < frames:
        warnings.append(f"FrameTimeVector has {count} values for {frames} frames and is not used.")
        return None
    if count > frames:
        warnings.append(
            f"FrameTimeVector has {count} values for {frames} frames; the surplus is not used."
        )
    steps = stated.increments_ms[1:frames]
    if any(step < 0 for step in steps) or (steps and not 0 < sum(steps) < inf):
        warnings.append("FrameTimeVector does not run forward in time and is not used.")
        return None
    if stated.increments_ms[0] != 0:
        warnings.append("FrameTimeVector does not start at 0; times count from the first frame.")
    if 0 in steps:
        warnings.append("FrameTimeVector gives two frames the same time.")
    return FrameTimes(times_ms=tuple(accumulate(steps, initial=0.0)), source="FrameTimeVector")


def _from_frame_time(stated: StatedTiming, warnings: list[str]) -> FrameTimes | None:
    step = stated.frame_time_ms
    if step is None:
        return None
    if not _LEAST_FRAME_MS <= step <= LONGEST_FRAME_MS:
        warnings.append(
            f"FrameTime is {step:g} ms, which no cine loop has (perhaps another unit), and is "
            "not used."
        )
        return None
    return FrameTimes(times_ms=_evenly(stated.frames, step), source="FrameTime")


def _from_acquisition(stated: StatedTiming, warnings: list[str]) -> FrameTimes | None:
    times = stated.acquired_ms
    if not times or len(times) != stated.frames:
        return None
    steps = [later - earlier for earlier, later in pairwise(times)]
    if any(step < 0 for step in steps) or (steps and not 0 < sum(steps) < inf):
        warnings.append(f"{stated.acquired_source} does not run forward in time and is not used.")
        return None
    if 0 in steps:
        warnings.append(f"{stated.acquired_source} gives two frames the same time.")
    return FrameTimes(times_ms=tuple(times), source=stated.acquired_source)


def _from_rate(stated: StatedTiming, warnings: list[str]) -> FrameTimes | None:
    for source, rate in (
        ("CineRate", stated.cine_rate),
        ("RecommendedDisplayFrameRate", stated.display_rate),
    ):
        if rate is None:
            continue
        if not _LEAST_FRAME_MS <= _per_frame_ms(rate) <= LONGEST_FRAME_MS:
            warnings.append(f"{source} is {rate:g} frames per second and is not used.")
            continue
        warnings.append(
            f"Frame times come from {source}, a whole number for play-back, not from frame timing."
        )
        return FrameTimes(times_ms=_evenly(stated.frames, _per_frame_ms(rate)), source=source)
    return None


def _per_frame_ms(rate: float) -> float:
    return 1000.0 / rate if rate > 0 else 0.0


def _evenly(frames: int, step_ms: float) -> tuple[float, ...]:
    return tuple(frame * step_ms for frame in range(frames))
