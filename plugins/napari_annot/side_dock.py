"""The dock with a second loop, linked to the one on show.

The viewer's model has one canvas and one set of sliders, and its grid shows one frame number for
all its cells; a second viewer inside this one would need its private parts. So the second loop is
painted by a widget of our own, and a double click or a key changes the two over: drawing always
happens on the picture on show, with everything that belongs to it.
"""

from typing import Any

from qtpy.QtCore import Qt
from qtpy.QtWidgets import QHBoxLayout, QLabel, QMainWindow, QVBoxLayout, QWidget

from annot.tasks.playback import LinkedBy
from napari_annot.desk import Desk
from napari_annot.display_state import AS_THE_FILE_ASKS
from napari_annot.docking import dock_of, put_in, take_out_later
from napari_annot.entry_fields import ChoiceField
from napari_annot.frame_view import LEAST_POINTS, FrameView
from napari_annot.second_loop import LINKS, SecondLoop, others, second_loop

TITLE = "Second loop"
NOTHING_BESIDE = "Open a second loop first: there is nothing to set beside this one."


class SideDock(QWidget):
    """Shows a second loop beside the one on show while it is visible."""

    def __init__(self, desk: Desk) -> None:
        super().__init__()
        self._desk = desk
        self._file: str | None = None
        self._before: str | None = None
        self.choice, self.link = ChoiceField(), ChoiceField(LINKS)
        self.view, self.words = FrameView(), QLabel()
        self.setStyleSheet(f"* {{ font-size: {LEAST_POINTS}pt; }}")
        self.choice.setToolTip("Which loop stands beside the one on show.")
        self.link.setToolTip("Same part of the beat from R wave to R wave, or same time in ms.")
        row = QHBoxLayout()
        row.addWidget(self.choice, 1)
        row.addWidget(self.link)
        layout = QVBoxLayout(self)
        layout.setContentsMargins(4, 4, 4, 4)
        layout.setSpacing(4)
        layout.addLayout(row)
        layout.addWidget(self.view, 1)
        layout.addWidget(self.words)
        self.choice.stated.connect(self._choose)
        self.link.stated.connect(self.refresh)
        self.view.taken.connect(self.change_over)
        desk.changed.connect(self.refresh)

    def close_down(self) -> None:
        """Let go of the desk."""
        self._desk.changed.disconnect(self.refresh)
        self.view.show_second(None, AS_THE_FILE_ASKS)

    @property
    def second(self) -> SecondLoop | None:
        """What stands beside the loop on show now."""
        if self._file is None:
            return None
        by: LinkedBy = "time" if self.link.chosen == "time" else "r_wave"
        return second_loop(self._desk, self._file, by)

    def _find_other(self) -> None:
        """Find a loop to show beside the one on show."""
        files = [file for file, _ in others(self._desk)]
        if self._file not in files:
            # the loop that was on show before this one, else the next in the list
            self._file = self._before if self._before in files else next(iter(files), None)

    def change_over(self) -> None:
        """Take the second loop in hand at its frame; the one on show goes beside it."""
        second, shown = self.second, self._desk.shown
        if second is None:
            return
        self._file = shown
        self._desk.show(second.file)
        self._desk.frame_wanted.emit(second.frame)
        self.refresh()

    def other_link(self) -> None:
        """Link by time instead of by R wave, or the other way."""
        self.link.choose("r_wave" if self.link.chosen == "time" else "time")
        self.refresh()

    def refresh(self, *_: Any) -> None:
        """Show the frame that goes with the one on show."""
        if not self.isVisible():
            self._before = self._desk.shown
            return
        self._find_other()
        self.choice.offer(others(self._desk))
        if self._file is not None:
            self.choice.choose(self._file)
        second = self.second
        shown_as = self._desk.displays.get(self._file or "", AS_THE_FILE_ASKS)
        self.view.show_second(second, shown_as)
        self.words.setText(f"Linked {second.link}" if second else NOTHING_BESIDE)
        self._before = self._desk.shown

    def showEvent(self, event: Any) -> None:  # noqa: N802  # Qt's name
        """Follow the desk as soon as anybody looks."""
        super().showEvent(event)
        self.refresh()

    def _choose(self, file: str) -> None:
        self._file = file
        self.refresh()


class SidePlace:
    """Where the second loop stands: left of the picture, only on request."""

    def __init__(self, viewer: Any, desk: Desk) -> None:
        self._viewer, self._desk = viewer, desk
        self.dock: SideDock | None = None

    def close(self) -> None:
        """Take the dock away, if it ever came."""
        if self.dock is None:
            return
        dock, self.dock = self.dock, None
        dock.close_down()
        take_out_later(self._viewer.window, dock)

    def show_or_hide(self) -> None:
        """Put a second loop beside the one on show, or take it away."""
        frame = None if self.dock is None else dock_of(self.dock)
        if frame is not None and frame.isVisible():
            frame.hide()
            return
        if len(self._desk.loops) < 2:
            self._desk.say(NOTHING_BESIDE, fault=True)
            self._desk.changed.emit()
            return
        if self.dock is None:
            self.dock = SideDock(self._desk)
        put_in(self._viewer.window, self.dock, name=TITLE, area="left")
        self._widen(self.dock)
        self.dock.refresh()

    def change_over(self) -> None:
        """Change the two loops over."""
        if self.dock is not None:
            self.dock.change_over()

    def other_link(self) -> None:
        """Link the two loops the other way."""
        if self.dock is not None:
            self.dock.other_link()

    def _widen(self, dock: SideDock) -> None:
        """Share the room with the picture on show."""
        frame, window = dock_of(dock), dock.window()
        centre = window.centralWidget() if isinstance(window, QMainWindow) else None
        if frame is not None and isinstance(window, QMainWindow) and centre is not None:
            wide = (centre.width() + frame.width()) // 2
            window.resizeDocks([frame], [wide], Qt.Orientation.Horizontal)
