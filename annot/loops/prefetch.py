"""Decode ahead of steady play, and stop as soon as someone jumps.

Running ahead costs memory and, on random access, time, so it starts only once two steps in a row
went the same way.
"""

import threading
from collections.abc import Callable

from annot.errors import AnnotError

# How long the thread waits for more to do before it ends; play asks at least every half second.
_IDLE_S = 0.5
# Two steps the same way are play, a longer step is somebody looking for a place.
_LONGEST_STEP = 4


class Prefetch:
    """One loop's look ahead.

    Parameters
    ----------
    frames
        Number of frames of the loop; play goes on from the last to the first.
    decode
        Called on the prefetching thread for each frame that will be wanted.
    ahead
        How many frames to run ahead; 0 never does.
    """

    def __init__(self, frames: int, decode: Callable[[int], object], *, ahead: int) -> None:
        self._frames = frames
        self._decode = decode
        self._ahead = min(ahead, frames - 1)
        self._changed = threading.Condition()
        self._plan: list[int] = []
        self._running = False
        self._last: int | None = None
        self._step = 0

    @property
    def planned(self) -> tuple[int, ...]:
        """Frames that will be decoded next, if nobody jumps."""
        with self._changed:
            return tuple(self._plan)

    def note(self, frame: int) -> None:
        """Take notice that a frame is wanted now; go on, turn or stop accordingly."""
        if self._ahead <= 0:
            return
        with self._changed:
            if frame == self._last:
                return
            step = self._step_to(frame)
            steady = step == self._step and 0 < abs(step) <= _LONGEST_STEP
            self._last, self._step = frame, step
            self._plan = self._ahead_of(frame, step) if steady else []
            if self._plan and not self._running:
                self._running = True
                threading.Thread(target=self._run, name="frame prefetch", daemon=True).start()
            self._changed.notify_all()

    def _step_to(self, frame: int) -> int:
        if self._last is None:
            return 0
        forward = (frame - self._last) % self._frames
        return forward if forward <= self._frames // 2 else forward - self._frames

    def _ahead_of(self, frame: int, step: int) -> list[int]:
        return [(frame + step * count) % self._frames for count in range(1, self._ahead + 1)]

    def _run(self) -> None:
        while True:
            with self._changed:
                if not self._plan:
                    self._changed.wait(_IDLE_S)
                if not self._plan:
                    self._running = False
                    return
                frame = self._plan.pop(0)
            try:
                self._decode(frame)
            except AnnotError:
                continue  # whoever wants this frame is told
            except Exception:
                with self._changed:
                    self._running = False
                raise
