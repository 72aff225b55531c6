"""The dock under the picture: playback's buttons and the strip."""

from functools import partial
from typing import Any

from qtpy.QtCore import Qt
from qtpy.QtWidgets import QHBoxLayout, QLabel, QPushButton, QSizePolicy, QVBoxLayout, QWidget

from annot.tasks.playback import largest_width
from napari_annot.desk import Desk
from napari_annot.filling_finder import FillingFinder
from napari_annot.keys import Keys
from napari_annot.playback import Playback
from napari_annot.strip import Strip, place_words, strip_of
from napari_annot.strip_widget import LEAST_POINTS, StripWidget
from napari_annot.wording import rate_words, speed_words

# words on the buttons, by the action they do
BUTTONS = (
    ("play", "Play"),
    ("step_back", "− 1"),
    ("step_on", "+ 1"),
    ("last_r_wave", "◂ R"),
    ("next_r_wave", "R ▸"),
    ("slower", "Slower"),
    ("faster", "Faster"),
    ("one_beat", "One beat"),
    ("largest", "Largest"),
    ("best_filled", "Best filled"),
)
LEAST_WIDTH = 560


class PlayDock(QWidget):
    """Shows how the loop plays; every button does what its key does.

    Parameters
    ----------
    desk
        Where the loop lies.
    keys
        Where its actions are bound.
    """

    def __init__(self, desk: Desk, keys: Keys) -> None:
        super().__init__()
        self._desk, self._keys = desk, keys
        self.playback, self.finder = Playback(desk), FillingFinder(desk)
        self.buttons = {name: QPushButton(words) for name, words in BUTTONS}
        self.speed, self.rate, self.place = QLabel(), QLabel(), QLabel()
        self.strip = StripWidget()
        self._bind()
        self._lay_out()
        self._connect()
        self.refresh()

    def close_down(self) -> None:
        """Stop playing and let go of the desk."""
        self._desk.changed.disconnect(self.refresh)
        self.playback.close()
        self.finder.close()

    def refresh(self) -> None:
        """Show where the loop stands."""
        state, loop = self._desk.state(), self._desk.loop
        strip = None
        if loop is not None:
            span = self.playback.player.span
            strip = strip_of(state, loop, curve=self.finder.curve, span=span)
        self.strip.show_strip(strip)
        words = place_words(strip, strip.frame) if strip else ""
        self.place.setText(words)
        self.place.setToolTip(words)
        for name, button in self.buttons.items():
            button.setEnabled(strip is not None and _means(name, strip))
        self._show_rate()

    def follow_theme(self, ink: str, paper: str) -> None:
        """Take the theme's colours."""
        self.strip.set_colours(ink, paper)

    # ---- putting together

    def _bind(self) -> None:
        play = self.playback
        for name, done in (
            ("play", play.play_or_pause),
            ("step_on", partial(play.step, 1)),
            ("step_back", partial(play.step, -1)),
            ("slower", play.slower),
            ("faster", partial(play.slower, 1)),
            ("one_beat", play.loop_beat),
            ("next_r_wave", partial(play.to_r_wave, forward=True)),
            ("last_r_wave", partial(play.to_r_wave, forward=False)),
            ("largest", self.go_to_largest),
            ("best_filled", self.go_to_best_filled),
        ):
            self._keys.bind(name, done, when=lambda state: state.shown is not None)

    def go_to_largest(self) -> None:
        """Go to the largest measured width of the loop on show; say so if there is none."""
        key = self._largest()
        if key is None:
            self._desk.say("No width is measured on this loop yet.", fault=True)
            self._desk.changed.emit()
        else:
            self.playback.go_to(None)
            self._desk.go_to(key)

    def go_to_best_filled(self) -> None:
        """Go to the suggested frame; say why there is none, and always that it is a suggestion."""
        curve = self.finder.curve
        if curve is None or curve.best_frame is None:
            why = f": {curve.reason}" if curve and curve.reason else " (X-ray loops only)"
            self._desk.say(f"No frame is suggested as best filled{why}.", fault=True)
        else:
            self.playback.go_to(curve.best_frame)
            self._desk.say("Suggested as best filled, from the picture's darkening: look yourself.")
        self._desk.changed.emit()

    def _largest(self) -> str | None:
        part = next((one for one in self._desk.read.loops if one.file == self._desk.shown), None)
        answers = self._desk.measured.answers
        drawn = [answers[one.key][0].measurement for one in part.calipers] if part else []
        return largest_width(drawn, like=self._desk.selected)

    def _lay_out(self) -> None:
        self.setStyleSheet(f"* {{ font-size: {LEAST_POINTS}pt; }}")
        # before its buttons are polished it would ask for more than a small window has
        self.setMinimumWidth(LEAST_WIDTH)
        row = QHBoxLayout()
        row.setSpacing(4)
        for name, button in self.buttons.items():
            button.setToolTip(self._keys.hint(name))
            button.setFocusPolicy(Qt.FocusPolicy.NoFocus)
            row.addWidget(button)
            if name == "slower":
                row.addWidget(self.speed)
        self.buttons["one_beat"].setCheckable(True)
        row.addStretch(1)
        foot = QHBoxLayout()
        foot.addWidget(self.place, 1)
        foot.addWidget(self.rate)
        layout = QVBoxLayout(self)
        layout.setContentsMargins(8, 4, 8, 4)
        layout.setSpacing(4)
        layout.addLayout(row)
        layout.addWidget(self.strip)
        layout.addLayout(foot)
        # long words are cut rather than that they widen the window
        self.place.setSizePolicy(QSizePolicy.Policy.Ignored, QSizePolicy.Policy.Preferred)

    def _connect(self) -> None:
        for name, button in self.buttons.items():
            button.clicked.connect(partial(self._pressed, name))
        self.strip.frame_chosen.connect(self.playback.go_to)
        self.strip.caliper_chosen.connect(self._to_caliper)
        self.playback.changed.connect(self._show_rate)
        self.finder.found.connect(self.refresh)
        self._desk.changed.connect(self.refresh)

    def _pressed(self, name: str, *_: Any) -> None:
        self._keys.do(name)
        self.refresh()

    def _to_caliper(self, key: str) -> None:
        self.playback.go_to(None)
        self._desk.go_to(key)

    def _show_rate(self) -> None:
        player = self.playback.player
        self.buttons["play"].setText("Pause" if player.playing else "Play")
        self.buttons["one_beat"].setChecked(player.span is not None)
        self.speed.setText(speed_words(player.speed))
        words = ""
        if self._desk.loop is not None:
            words = rate_words(
                stored_per_s=1000.0 / player.times.frame_ms,
                stated=player.times.stated,
                shown_per_s=player.shown_per_s,
                stride=player.stride,
                speed=player.speed,
            )
        self.rate.setText(words)


def _means(name: str, strip: Strip) -> bool:
    """Whether a button would do anything now."""
    if name in {"next_r_wave", "last_r_wave", "one_beat"}:
        return bool(strip.r_waves_ms)
    if name == "largest":
        return bool(strip.marks)
    if name == "best_filled":
        return strip.suggested is not None
    return strip.times.frames > 1
