"""What to draw, how well its ends are placed, and what the selected caliper states."""

from qtpy.QtCore import Signal
from qtpy.QtGui import QColor, QIcon, QPixmap
from qtpy.QtWidgets import (
    QCheckBox,
    QFormLayout,
    QGridLayout,
    QLabel,
    QLineEdit,
    QPushButton,
    QVBoxLayout,
    QWidget,
)

from annot.vocabulary.device_measurands import DEVICE_MEASURANDS
from napari_annot.aids_panel import AidsPanel
from napari_annot.end_placing import EndPlacing
from napari_annot.entry_fields import ALL, ChoiceField, NumberField, side_by_side
from napari_annot.help_row import HelpRow
from napari_annot.screen_state import ScreenState
from napari_annot.tools import BENT_DEPTH, CALIPER_TOOLS, Tool
from napari_annot.wording import frame_words

# suggestions; any words are taken
MOMENTS = (
    ("", "not stated"),
    ("largest", "largest"),
    ("smallest", "smallest"),
    ("end of filling", "end of filling"),
    ("end of emptying", "end of emptying"),
)
PALETTE = (*CALIPER_TOOLS, BENT_DEPTH)
DEVICE_MEASURAND_NAMES = frozenset(one.name for one in DEVICE_MEASURANDS)


class CaliperPanel(QWidget):
    """Tools and statements about calipers; emits what a person asks for."""

    armed = Signal(object)
    undo_wanted = Signal()
    redo_wanted = Signal()
    delete_wanted = Signal()
    placing_stated = Signal(object)
    tilt_stated = Signal(object)
    beat_stated = Signal(object)
    moment_stated = Signal(object)
    note_stated = Signal(str)
    refused = Signal(str)

    def __init__(self) -> None:
        super().__init__()
        self.tools = {tool.name: _button(tool) for tool in PALETTE}
        self.undo, self.redo = QPushButton("Undo"), QPushButton("Redo")
        self.delete = QPushButton("Delete")
        self.u_end = NumberField("u of placing an end", "not stated: 1 px", highest=50)
        self.u_unit = ChoiceField([("px", "px"), ("mm", "mm")], letters=3)
        self.selected = QLabel()
        self.help, self.aids = HelpRow(), AidsPanel()
        self.after_implant = QCheckBox("After an implant")
        self.tilt = NumberField("Tilt", "not stated", highest=60, zero=True)
        self.beat = NumberField("Beat", "not stated", highest=9999, zero=True)
        self.moment = ChoiceField(MOMENTS, free=True)
        self.note = QLineEdit()
        self._lay_out()
        self._connect()

    def show_state(self, state: ScreenState) -> None:
        """Show which tool is in hand and what the selected caliper states."""
        for name, button in self.tools.items():
            button.setChecked(state.tool is not None and state.tool.name == name)
            button.setEnabled(state.shown is not None)
        self.undo.setEnabled(state.can_undo)
        self.redo.setEnabled(state.can_redo)
        caliper = state.selected
        self.delete.setEnabled(caliper is not None)
        placing = state.placing
        self.u_end.state(placing.u_px if placing.u_px is not None else placing.u_mm)
        if (placing.u_px, placing.u_mm) != (None, None):
            self.u_unit.choose("mm" if placing.u_mm is not None else "px")
        self._statements.setVisible(caliper is not None)
        self.help.show_state(state)
        self.aids.show_state(state)
        if caliper is not None:
            words = f"{caliper.measurand.title}, frame {frame_words(caliper.frame.frame)}"
            self.selected.setText(words)
            self.tilt.state(caliper.tilt_deg)
            self.beat.state(caliper.beat)
            self.moment.choose(caliper.moment or "")
            if not self.note.hasFocus():
                self.note.setText(caliper.note)

    def _lay_out(self) -> None:
        planning = [tool for tool in PALETTE if tool.name not in DEVICE_MEASURAND_NAMES]
        device = [tool for tool in PALETTE if tool.name in DEVICE_MEASURAND_NAMES]
        self._device = QWidget()
        self._device.setLayout(self._grid(device))
        self._device.setVisible(False)
        self.after_implant.toggled.connect(self._device.setVisible)
        form = QFormLayout()
        form.setVerticalSpacing(4)
        form.addRow("u of placing an end", side_by_side(self.u_end, self.u_unit))
        self._statements = QWidget()
        statements = QFormLayout(self._statements)
        statements.setContentsMargins(0, 0, 0, 0)
        statements.setVerticalSpacing(4)
        statements.addRow("Selected", self.selected)
        statements.addRow("Tilt within ± °", self.tilt)
        statements.addRow("Beat, moment", side_by_side(self.beat, self.moment, stretch=1))
        statements.addRow("Note", self.note)
        layout = QVBoxLayout(self)
        layout.setContentsMargins(8, 8, 8, 8)
        layout.setSpacing(6)
        layout.addLayout(self._grid(planning))
        layout.addWidget(self.after_implant)
        layout.addWidget(self._device)
        layout.addWidget(side_by_side(self.undo, self.redo, self.delete, stretch=ALL))
        layout.addWidget(self.help)
        layout.addLayout(form)
        layout.addWidget(self._statements)
        layout.addWidget(self.aids)
        layout.addStretch(1)

    def _grid(self, tools: list[Tool]) -> QGridLayout:
        grid = QGridLayout()
        grid.setContentsMargins(0, 0, 0, 0)
        grid.setSpacing(4)
        for index, tool in enumerate(tools):
            grid.addWidget(self.tools[tool.name], index // 2, index % 2)
        return grid

    def _connect(self) -> None:
        for tool in PALETTE:
            self.tools[tool.name].clicked.connect(
                lambda on, tool=tool: self.armed.emit(tool if on else None)
            )
        self.undo.clicked.connect(self.undo_wanted)
        self.redo.clicked.connect(self.redo_wanted)
        self.delete.clicked.connect(self.delete_wanted)
        self.u_end.changed.connect(self._state_placing)
        self.u_unit.stated.connect(self._state_placing)
        self.tilt.changed.connect(self.tilt_stated)
        self.beat.changed.connect(self._state_beat)
        self.moment.stated.connect(lambda words: self.moment_stated.emit(words.strip() or None))
        for field in (self.u_end, self.tilt, self.beat):
            field.refused.connect(self.refused)
        self.note.editingFinished.connect(lambda: self.note_stated.emit(self.note.text()))

    def _state_beat(self, beat: float | None) -> None:
        """Tell of a beat, which is a whole number from 0."""
        if beat is not None and not beat.is_integer():
            self.refused.emit("Beat: state a whole number, counted from 0.")
            return
        self.beat_stated.emit(None if beat is None else int(beat))

    def _state_placing(self) -> None:
        value, in_mm = self.u_end.known, self.u_unit.chosen == "mm"
        self.placing_stated.emit(
            EndPlacing(u_px=None if in_mm else value, u_mm=value if in_mm else None)
        )


def _button(tool: Tool) -> QPushButton:
    patch = QPixmap(10, 10)
    patch.fill(QColor(tool.colour))
    button = QPushButton(QIcon(patch), tool.title)
    button.setCheckable(True)
    meaning = tool.measurand.meaning if tool.measurand else ""
    button.setToolTip(f"{tool.hint}\n{meaning[:1].upper()}{meaning[1:]}.")
    return button
