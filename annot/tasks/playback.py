"""Times and beats of loops for playing them and for setting two of them side by side."""

from bisect import bisect_right
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise
from typing import Literal

from annot.loops import LoopHeader, PlayTimes, play_times
from annot.measurement import Measurement

__all__ = [
    "LinkedBy",
    "LinkedFrame",
    "PlayTimes",
    "Span",
    "beat_around",
    "largest_width",
    "linked_frame",
    "play_times",
    "r_wave_beside",
    "r_wave_frames",
    "r_waves_ms",
]

LinkedBy = Literal["r_wave", "time"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Span:
    """Part of a loop, from a time on and up to another."""

    start_ms: float
    end_ms: float


def r_wave_frames(header: LoopHeader) -> tuple[int, ...]:
    """Return the frame that lies nearest to each R wave, in order and each once."""
    times = play_times(header)
    waves = r_waves_ms(header)
    return tuple(dict.fromkeys(times.nearest(wave) for wave in waves))


def r_wave_beside(header: LoopHeader, frame: int, *, forward: bool) -> int | None:
    """Return the next or the last R wave's frame, going round; None without R waves."""
    frames = r_wave_frames(header)
    if not frames:
        return None
    if forward:
        return next((one for one in frames if one > frame), frames[0])
    return next((one for one in reversed(frames) if one < frame), frames[-1])


def beat_around(header: LoopHeader, frame: int) -> Span | None:
    """Return the beat that holds a frame: from R wave to R wave, else from or to the loop's end.

    None without R waves. A beat cut off by an end of the loop is given as far as the loop goes.
    """
    waves, times = r_waves_ms(header), play_times(header)
    if not waves:
        return None
    edges = sorted({0.0, *waves, times.duration_ms})
    at = times.starts_ms[frame]
    # a frame nearest to an R wave begins that beat, though it may have come on just before
    near = min(waves, key=lambda wave: abs(wave - at))
    at = near if times.nearest(near) == frame else at
    place = min(max(bisect_right(edges, at) - 1, 0), len(edges) - 2)
    return Span(start_ms=edges[place], end_ms=edges[place + 1])


def largest_width(drawn: Sequence[Measurement], *, like: str | None = None) -> str | None:
    """Return the key of the largest of one quantity's widths, None without any.

    Parameters
    ----------
    drawn : sequence of Measurement
        All of one loop, so of one scale.
    like : str or None
        The caliper whose quantity counts; without it the quantity that was measured most often.

    Notes
    -----
    Values only: the largest of noisy readings reads high, as everywhere.
    """
    widths = [one for one in drawn if one.caliper.measurand.name.endswith("_width")]
    names = [one.caliper.measurand.name for one in widths]
    named = next((one.caliper.measurand.name for one in widths if one.caliper.key == like), None)
    wanted = named or max(names, key=names.count, default=None)
    own = [one for one in widths if one.caliper.measurand.name == wanted]
    return max(own, key=lambda one: one.result.value).caliper.key if own else None


@dataclass(frozen=True, slots=True, kw_only=True)
class LinkedFrame:
    """The frame of another loop that goes with the one on show.

    Attributes
    ----------
    frame
        In the other loop.
    by
        What links them in fact: without R waves in either loop, time.
    percent
        Part of the beat that has passed, where both lie in whole beats; else None.
    """

    frame: int
    by: LinkedBy
    percent: float | None = None


def linked_frame(
    shown: LoopHeader, frame: int, other: LoopHeader, *, by: LinkedBy = "r_wave"
) -> LinkedFrame:
    """Return which frame of another loop goes with a frame on show.

    By R wave the same part of the beat is sought, in the beat of the same number or, where the
    other loop has fewer, in one of those it has, in turn. Outside whole beats the time since (or
    until) the R wave counts. By time both loops begin together, and the shorter waits at its end.
    """
    time_ms = play_times(shown).starts_ms[frame]
    here, there = r_waves_ms(shown), r_waves_ms(other)
    times = play_times(other)
    if by == "time" or not here or not there:
        return LinkedFrame(frame=times.frame_at(time_ms), by="time")
    beat = bisect_right(here, time_ms) - 1
    if beat < 0:
        return LinkedFrame(frame=times.nearest(there[0] + time_ms - here[0]), by="r_wave")
    own = there[beat % max(1, len(there) - 1)]
    whole = len(there) > 1 and beat + 1 < len(here)
    since = time_ms - here[beat]
    if not whole:
        return LinkedFrame(frame=times.nearest(own + since), by="r_wave")
    share = since / (here[beat + 1] - here[beat])
    length = there[there.index(own) + 1] - own
    return LinkedFrame(
        frame=times.nearest(own + share * length), by="r_wave", percent=100.0 * share
    )


def r_waves_ms(header: LoopHeader) -> tuple[float, ...]:
    """Return the R waves within the loop, none where they do not run forward in time."""
    waves = header.r_wave_times_ms
    if any(later <= earlier for earlier, later in pairwise(waves)):
        return ()
    last = play_times(header).duration_ms
    return tuple(wave for wave in waves if 0.0 <= wave < last)
