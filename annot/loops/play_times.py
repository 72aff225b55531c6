"""How long each frame of a loop stays on when it is played as it was taken."""

from bisect import bisect_right
from dataclasses import dataclass
from itertools import pairwise
from statistics import median

from annot.loops.header import LoopHeader

# Where a file says nothing of its rate; own choice, said beside the picture whenever it is used.
ASSUMED_FRAME_MS = 1000.0 / 15.0


@dataclass(frozen=True, slots=True, kw_only=True)
class PlayTimes:
    """When each frame comes on, and when the loop is over.

    Attributes
    ----------
    starts_ms
        One time per frame, from 0 on and never falling. A frame that starts with the next one is
        never on.
    duration_ms
        Of the whole loop, the last frame included.
    source
        The attribute that the times come from, ``assumed`` if the file states none.
    """

    starts_ms: tuple[float, ...]
    duration_ms: float
    source: str

    @property
    def stated(self) -> bool:
        """Whether the file says so."""
        return self.source != "assumed"

    @property
    def frames(self) -> int:
        """Number of frames."""
        return len(self.starts_ms)

    @property
    def frame_ms(self) -> float:
        """How long a frame stays on, typically: the median."""
        steps = [later - earlier for earlier, later in pairwise(self.starts_ms)]
        return median(step for step in steps if step > 0) if any(steps) else self.duration_ms

    def frame_at(self, time_ms: float) -> int:
        """Return the frame that is on at a time; before the loop its first, after it its last."""
        return max(0, bisect_right(self.starts_ms, time_ms) - 1)

    def nearest(self, time_ms: float) -> int:
        """Return the frame whose start lies nearest to a time, the earlier of two as near."""
        on = self.frame_at(time_ms)
        after = min(on + 1, self.frames - 1)
        nearer = self.starts_ms[after] - time_ms < time_ms - self.starts_ms[on]
        return after if nearer else on


def play_times(header: LoopHeader) -> PlayTimes:
    """Return the frame times of a loop for playing it, assumed ones where the file states none.

    A header states when frames were taken, hence one step fewer than frames: the last frame stays
    on for the median step.
    """
    stated = header.frame_times
    if stated.times_ms is None or len(stated.times_ms) != header.frames or header.frames < 2:
        starts = tuple(frame * ASSUMED_FRAME_MS for frame in range(header.frames))
        length = header.frames * ASSUMED_FRAME_MS
        return PlayTimes(starts_ms=starts, duration_ms=length, source="assumed")
    starts = tuple(time - stated.times_ms[0] for time in stated.times_ms)
    steps = [later - earlier for earlier, later in pairwise(starts) if later > earlier]
    return PlayTimes(starts_ms=starts, duration_ms=starts[-1] + median(steps), source=stated.source)
