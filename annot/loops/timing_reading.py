"""Read frame timing and heartbeat from a header."""

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
        return tuple(sorted(stated))
    named = attributes.numbers("RWavePointer")
    if named is None or times.times_ms is None:
        return ()
    count = len(times.times_ms)
    within = sorted(int(frame) for frame in named if 1 <= frame <= count)
    if len(within) < len(named):
        attributes.warn(f"RWavePointer names frames outside 1 to {count}; those are not used.")
    return tuple(times.times_ms[frame - 1] for frame in within)
