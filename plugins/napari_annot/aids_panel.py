"""Landmarks to place, and what helps drawing: guides, neighbouring frames, copies, ends."""

from dataclasses import replace

from qtpy.QtCore import Signal
from qtpy.QtWidgets import QCheckBox, QGridLayout, QLabel, QPushButton, QVBoxLayout, QWidget

from annot.vocabulary.landmarks import LANDMARKS
from napari_annot.entry_fields import ALL, side_by_side
from napari_annot.screen_state import Aids, ScreenState
from napari_annot.tools import LANDMARK_TOOLS

PLACED = "✓ "


class AidsPanel(QWidget):
    """Buttons for landmarks and aids; emits what a person asks for."""

    armed = Signal(object)
    helped = Signal(object)
    cleared = Signal()
    copy_wanted = Signal()
    end_wanted = Signal()

    def __init__(self) -> None:
        super().__init__()
        self.landmarks = {tool.name: QPushButton(tool.title) for tool in LANDMARK_TOOLS}
        self.clear = QPushButton("Clear landmarks of this frame")
        self.guides, self.onion = QCheckBox("Guides"), QCheckBox("Calipers of nearby frames")
        self.copy, self.end = QPushButton("Copy to this frame"), QPushButton("Other end")
        self._aids = Aids()
        self._lay_out()
        self._connect()

    def show_state(self, state: ScreenState) -> None:
        """Show which landmarks stand on this frame and which aids are on."""
        self._aids = state.aids
        for tool in LANDMARK_TOOLS:
            button = self.landmarks[tool.name]
            sign = PLACED if tool.landmark in state.landmarks else ""
            button.setText(f"{sign}{tool.title}")
            button.setChecked(state.tool is not None and state.tool.name == tool.name)
            button.setEnabled(state.shown is not None)
        self.clear.setEnabled(bool(state.landmarks))
        self.guides.setChecked(state.aids.guides)
        self.onion.setChecked(state.aids.onion)
        self.copy.setEnabled(state.selected is not None)
        self.end.setEnabled(state.selected is not None)

    def _lay_out(self) -> None:
        grid = QGridLayout()
        grid.setSpacing(4)
        for at, (name, button) in enumerate(self.landmarks.items()):
            button.setCheckable(True)
            meaning = LANDMARKS[name.removeprefix("place_")].meaning
            button.setToolTip(f"Place: {meaning}. A click replaces the one on this frame.")
            grid.addWidget(button, at // 2, at % 2)
        title = QLabel("Landmarks on this frame")
        title.setStyleSheet("font-weight: bold;")
        layout = QVBoxLayout(self)
        layout.setContentsMargins(0, 0, 0, 0)
        layout.setSpacing(4)
        layout.addWidget(side_by_side(self.guides, self.onion, stretch=ALL))
        layout.addWidget(side_by_side(self.copy, self.end, stretch=ALL))
        layout.addWidget(title)
        layout.addLayout(grid)
        layout.addWidget(self.clear)

    def _connect(self) -> None:
        for tool in LANDMARK_TOOLS:
            self.landmarks[tool.name].clicked.connect(
                lambda on, tool=tool: self.armed.emit(tool if on else None)
            )
        self.guides.clicked.connect(
            lambda on: self.helped.emit(replace(self._aids, guides=bool(on)))
        )
        self.onion.clicked.connect(lambda on: self.helped.emit(replace(self._aids, onion=bool(on))))
        self.clear.clicked.connect(self.cleared)
        self.copy.clicked.connect(self.copy_wanted)
        self.end.clicked.connect(self.end_wanted)
