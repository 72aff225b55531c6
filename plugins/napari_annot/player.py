"""Which frame of a loop to show at which moment: a clock decides, never the last picture. No Qt."""

from collections import deque
from collections.abc import Callable
from dataclasses import dataclass
from math import ceil

from annot.tasks.playback import PlayTimes, Span

SPEEDS = (0.1, 0.25, 0.5, 1.0, 2.0, 4.0)
# a picture's cost is smoothed, so that one slow one does not change the pace
_SMOOTHING = 0.2
_HEADROOM, _MORE_HEADROOM = 1.1, 1.5
_RATE_OVER_MS = 2000.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Due:
    """The frame to show now, and in how many ms the next one comes on."""

    frame: int
    wait_ms: float


class Player:
    """Turns time into frames.

    The frame follows from the time gone by, so a loop lasts as long as it lasted when it was
    taken, whatever drawing costs. Where drawing cannot keep up, every second frame is shown, or
    every third: evenly, for a picture that stumbles is misread sooner than a coarser one.

    Parameters
    ----------
    clock
        Gives a time in ms that only ever rises.
    """

    def __init__(self, clock: Callable[[], float]) -> None:
        self._clock = clock
        self._times = PlayTimes(starts_ms=(0.0,), duration_ms=1.0, source="assumed")
        self._span: Span | None = None
        self._speed = 1.0
        self._stride = 1
        self._cost_ms = 0.0
        self._began: float | None = None
        self._from_ms = 0.0
        self._anchor = self._shown_frame = 0
        self._shown: deque[float] = deque()

    @property
    def playing(self) -> bool:
        """Whether time runs."""
        return self._began is not None

    @property
    def times(self) -> PlayTimes:
        """The loop's times."""
        return self._times

    @property
    def span(self) -> Span | None:
        """The part that is played round and round, None for the whole loop."""
        return self._span

    @property
    def speed(self) -> float:
        """1 for the loop's own pace."""
        return self._speed

    @property
    def stride(self) -> int:
        """1 where every frame is shown, 2 for every second, and so on."""
        return self._stride

    def load(self, times: PlayTimes) -> None:
        """Take another loop in hand, at rest."""
        self.stop()
        self._times, self._span, self._stride, self._cost_ms = times, None, 1, 0.0

    def play(self, frame: int) -> None:
        """Let time run from a frame on."""
        self._shown.clear()
        self._anchor = frame
        self._run_from(self._times.starts_ms[frame])

    def stop(self) -> None:
        """Let time stand."""
        self._began = None
        self._shown.clear()

    def seek(self, frame: int) -> None:
        """Go on from another frame."""
        if self.playing:
            self._anchor = frame
            self._run_from(self._times.starts_ms[frame])

    def set_speed(self, speed: float) -> None:
        """Play slower or faster from here on."""
        at = self._position_ms()
        self._speed = speed
        self._shown.clear()
        self._settle_stride()
        if self.playing:
            self._run_from(at)

    def set_span(self, span: Span | None) -> None:
        """Play only a part, round and round; None for the whole loop."""
        at = self._position_ms()
        self._span = span
        if self.playing:
            self._run_from(at)

    def due(self) -> Due:
        """Return the frame of this moment and when the next is due."""
        at = self._position_ms()
        start, end = self._ends()
        first, last = self._times.frame_at(start), self._last_frame(end)
        on = min(max(self._times.frame_at(at), first), last)
        # counted from the frame that a person started on, so that this one is shown itself
        offset = first + (self._anchor - first) % self._stride
        frame = offset + (on - offset) // self._stride * self._stride if on >= offset else first
        after = frame + self._stride if on >= offset else offset
        self._shown_frame = frame
        until = end if after > last else self._times.starts_ms[after]
        return Due(frame=frame, wait_ms=max(until - at, 0.0) / self._speed)

    def drawn(self, cost_ms: float) -> None:
        """Take note that a frame has been drawn, and what that cost."""
        first = self._cost_ms == 0.0
        self._cost_ms += (1.0 if first else _SMOOTHING) * (cost_ms - self._cost_ms)
        self._settle_stride()
        now = self._clock()
        self._shown.append(now)
        while self._shown[0] < now - _RATE_OVER_MS:
            self._shown.popleft()

    @property
    def shown_per_s(self) -> float | None:
        """Frames really drawn per second, None before there are enough to tell."""
        if len(self._shown) < 3 or self._shown[-1] <= self._shown[0]:
            return None
        return 1000.0 * (len(self._shown) - 1) / (self._shown[-1] - self._shown[0])

    @property
    def wanted_per_s(self) -> float:
        """Frames per second that the loop asks for at this speed."""
        return 1000.0 * self._speed / self._times.frame_ms

    def _settle_stride(self) -> None:
        """Choose the least stride that drawing keeps up with; change down only with room."""
        frame_ms = self._times.frame_ms / self._speed
        most = max(1, self._times.frames)
        wanted = min(max(1, ceil(_HEADROOM * self._cost_ms / frame_ms)), most)
        easily = min(max(1, ceil(_MORE_HEADROOM * self._cost_ms / frame_ms)), most)
        if wanted > self._stride or easily < self._stride:
            self._stride = max(wanted, min(easily, self._stride))
            self._anchor = self._shown_frame  # counting from elsewhere might step back
            self._shown.clear()

    def _run_from(self, at_ms: float) -> None:
        self._began, self._from_ms = self._clock(), at_ms

    def _ends(self) -> tuple[float, float]:
        if self._span is None:
            return 0.0, self._times.duration_ms
        return self._span.start_ms, self._span.end_ms

    def _last_frame(self, end_ms: float) -> int:
        """Return the last frame that comes on before the end."""
        last = self._times.frame_at(end_ms)
        begins_at_end = self._times.starts_ms[last] >= end_ms
        return max(last - 1, 0) if begins_at_end and last > 0 else last

    def _position_ms(self) -> float:
        """Return where in the loop time stands, gone round the part that is played."""
        gone = 0.0 if self._began is None else (self._clock() - self._began) * self._speed
        start, end = self._ends()
        at = self._from_ms + gone
        inside = start <= at < end
        return at if inside else start + (at - start) % (end - start)
