"""Playback in the window: a timer asks the player what is due and pays for the picture."""

import time

from qtpy.QtCore import QObject, Qt, QTimer, Signal

from annot.tasks.playback import Span, beat_around, play_times, r_wave_beside
from napari_annot.desk import Desk
from napari_annot.player import SPEEDS, Player


def _now_ms() -> float:
    return 1000.0 * time.perf_counter()


class Playback(QObject):
    """Plays the loop on show; drawing stops it, and so does another loop.

    Parameters
    ----------
    desk
        Where the loop lies and which frame is on show.
    """

    changed = Signal()
    playing = Signal(bool)

    def __init__(self, desk: Desk) -> None:
        super().__init__()
        self._desk = desk
        self.player = Player(_now_ms)
        self._timer = self._timer_for(self._tick)
        self._after = self._timer_for(self._drawn)
        self._began_ms = 0.0
        self._file: str | None = None
        self._frame = 0
        desk.changed.connect(self._follow)
        self._follow()

    def close(self) -> None:
        """Stop, and let go of the desk; nobody is told, for the window may be gone."""
        self.blockSignals(True)
        self._stop()
        self._desk.changed.disconnect(self._follow)

    # ---- what a person asks for

    def play_or_pause(self) -> None:
        """Start or stop."""
        if self.player.playing:
            self._stop()
        elif self._desk.loop is not None and self._desk.loop.frames > 1:
            if self._desk.tool is not None:
                self._desk.arm(None)
            self._frame = self._desk.frame
            self.player.play(self._frame)
            self.playing.emit(True)
            self._timer.start(0)
        self.changed.emit()

    def step(self, by: int) -> None:
        """Go some frames on or back, round the loop's ends."""
        if self._desk.loop is not None:
            self.go_to((self._desk.frame + by) % self._desk.loop.frames)

    def go_to(self, frame: int | None) -> None:
        """Stop and stand on a frame."""
        self._stop()
        if frame is not None:
            self._desk.frame_wanted.emit(frame)
        self.changed.emit()

    def slower(self, steps: int = -1) -> None:
        """Play at the next lower speed; positive steps play faster."""
        place = min(range(len(SPEEDS)), key=lambda one: abs(SPEEDS[one] - self.player.speed))
        self.player.set_speed(SPEEDS[min(max(place + steps, 0), len(SPEEDS) - 1)])
        self.changed.emit()

    def loop_beat(self) -> None:
        """Play only the beat around this frame, or the whole loop again."""
        loop = self._desk.loop
        if loop is None:
            return
        around: Span | None = None
        if self.player.span is None:
            around = beat_around(loop.header, self._desk.frame)
        self.player.set_span(around)
        self.changed.emit()

    def to_r_wave(self, *, forward: bool) -> None:
        """Go to the R wave after or before this frame."""
        loop = self._desk.loop
        if loop is not None:
            self.go_to(r_wave_beside(loop.header, self._desk.frame, forward=forward))

    # ---- time

    def _tick(self) -> None:
        if not self.player.playing:
            return
        due = self.player.due()
        if due.frame == self._frame:
            self._timer.start(max(1, round(due.wait_ms)))
            return
        self._began_ms, self._frame = _now_ms(), due.frame
        self._desk.frame_wanted.emit(due.frame)
        # a timer of no length comes after the painting that the new frame has asked for
        self._after.start(0)

    def _drawn(self) -> None:
        if not self.player.playing:
            return
        self.player.drawn(_now_ms() - self._began_ms)
        self.changed.emit()
        due = self.player.due()
        # where drawing took longer than the frame was on, the next one is due already
        self._timer.start(round(due.wait_ms) if due.frame == self._frame else 0)

    def _stop(self) -> None:
        if self.player.playing:
            self.player.stop()
            self.playing.emit(False)
        self._timer.stop()
        self._after.stop()

    def _follow(self) -> None:
        """Take the loop on show in hand; stop for drawing; go on from where a person went."""
        desk = self._desk
        if desk.shown != self._file:
            self._file = desk.shown
            self._stop()
            if desk.loop is not None:
                self.player.load(play_times(desk.loop.header))
            self.changed.emit()
        elif self.player.playing and (desk.tool is not None or desk.draft is not None):
            self._stop()
            self.changed.emit()
        elif self.player.playing and desk.frame != self._frame:
            self._frame = desk.frame
            self.player.seek(desk.frame)

    def _timer_for(self, done: object) -> QTimer:
        timer = QTimer(self)
        timer.setSingleShot(True)
        timer.setTimerType(Qt.TimerType.PreciseTimer)
        timer.timeout.connect(done)
        return timer
