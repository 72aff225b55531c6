"""Read frame timing and heartbeat from a header."""

from collections.abc import Sequence

from annot.loops.attributes import Attributes
from annot.loops.timing import FrameTimes, StatedTiming, frame_times

_POINTERS = {"(0018,1063)": "FrameTime", "(0018,1065)": "FrameTimeVector"}


def read_frame_times(
    attributes: Attributes,
    *,
    frames: int,
    acquired: tuple[tuple[float, ...] | None, str] = (None, ""),
) -> FrameTimes:
    """Read the times of all frames; what contradicts itself is noted in the header's warnings.

    Parameters
    ----------
    attributes
        The header; faults are noted there.
    frames
        Number of frames.
    acquired
        Times of the frames as acquired, if each frame has its own, and their attribute.
    """
    pointers = [_POINTERS.get(tag) for tag in attributes.texts("FrameIncrementPointer")]
    stated = StatedTiming(
        frames=frames,
        frame_time_ms=attributes.number("FrameTime"),
        increments_ms=attributes.numbers("FrameTimeVector"),
        pointer=next((name for name in pointers if name), None),
        acquired_ms=acquired[0],
        acquired_source=acquired[1],
        cine_rate=attributes.number("CineRate"),
        display_rate=attributes.number("RecommendedDisplayFrameRate"),
    )
    times, sentences = frame_times(stated)
    for sentence in sentences:
        attributes.warn(sentence)
    if stated.pointer and not attributes.present(stated.pointer):
        attributes.warn(f"FrameIncrementPointer names {stated.pointer}, which is absent.")
    return times


def read_heart_rate(attributes: Attributes) -> float | None:
    """Beats per minute; files that write 0 do not know it."""
    return attributes.number("HeartRate", accept=lambda rate: rate > 0, rule="a heart rate")


def read_r_waves(attributes: Attributes, times: FrameTimes) -> tuple[float, ...]:
    """Read the times of R peaks in ms from the first frame.

    RWaveTimeVector states them; RWavePointer names frames (from 1), which have times if the loop
    has.
    """
    stated = attributes.numbers("RWaveTimeVector")
    if stated is not None:
        if list(stated) != sorted(stated):
            attributes.warn("RWaveTimeVector is not in order of time; it is sorted.")
        return _each_once(sorted(stated), attributes, "RWaveTimeVector")
    named = attributes.numbers("RWavePointer")
    if named is None or times.times_ms is None:
        return ()
    count = len(times.times_ms)
    within = sorted(int(frame) for frame in named if 1 <= frame <= count)
    if len(within) < len(named):
        attributes.warn(f"RWavePointer names frames outside 1 to {count}; those are not used.")
    waves = [times.times_ms[frame - 1] for frame in within]
    return _each_once(waves, attributes, "RWavePointer")


def _each_once(waves: Sequence[float], attributes: Attributes, keyword: str) -> tuple[float, ...]:
    """Return R waves in order, each once: a beat of no length is none."""
    found = tuple(dict.fromkeys(waves))
    if len(found) < len(waves):
        attributes.warn(f"{keyword} gives one R wave more than once; it counts once.")
    return found
