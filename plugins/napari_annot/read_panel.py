"""Who reads what, under which conditions; the read file and the table."""

from qtpy.QtCore import Signal
from qtpy.QtWidgets import QFormLayout, QLabel, QLineEdit, QPushButton, QVBoxLayout, QWidget

from annot.reads import Conditions
from napari_annot.entry_fields import ALL, ChoiceField, NumberField, side_by_side
from napari_annot.screen_state import ScreenState

NOT_STATED = ("not stated", "not stated")
LOADINGS = (
    NOT_STATED,
    ("fasting", "fasting"),
    ("before fluids", "before fluids"),
    ("after fluids", "after fluids"),
)
RHYTHMS = (
    NOT_STATED,
    ("sinus rhythm", "sinus rhythm"),
    ("atrial fibrillation", "atrial fibrillation"),
    ("paced", "paced"),
)


class ReadPanel(QWidget):
    """Statements about the read and its files; emits what a person states or asks for."""

    reader_stated = Signal(str, str)
    conditions_stated = Signal(object)
    plane_stated = Signal(object)
    load_wanted = Signal()
    save_wanted = Signal()
    export_wanted = Signal()
    refused = Signal(str)

    def __init__(self) -> None:
        super().__init__()
        self.reader, self.study = QLineEdit(), QLineEdit()
        self.reader.setPlaceholderText("a code, no name")
        self.study.setPlaceholderText("a code; empty: a pseudonym is made")
        self.loading, self.rhythm = (
            ChoiceField(LOADINGS, free=True),
            ChoiceField(RHYTHMS, free=True),
        )
        self.plane = NumberField("Echo plane", "not stated", highest=179.9, zero=True)
        self.load, self.save = QPushButton("Load read …"), QPushButton("Save read …")
        self.export = QPushButton("Export table …")
        self.take_up = QPushButton("Take up unsaved work")
        self._plane_title = QLabel("Echo plane °")
        self._form = QFormLayout()
        self._lay_out()
        self._connect()

    def show_state(self, state: ScreenState) -> None:
        """Show what is stated."""
        for field, text in ((self.reader, state.reader), (self.study, state.study)):
            if not field.hasFocus():
                field.setText(text)
        self.loading.choose(state.conditions.loading)
        self.rhythm.choose(state.conditions.rhythm)
        self.plane.state(state.plane_deg)
        self._form.setRowVisible(self.plane, state.modality == "US")
        for statement in (self.loading, self.rhythm, self.plane):
            statement.setEnabled(state.shown is not None)

    def _lay_out(self) -> None:
        self._form.setVerticalSpacing(4)
        self._form.addRow("Reader", self.reader)
        self._form.addRow("Study", self.study)
        heading = QLabel("This loop")
        self._form.addRow(heading)
        self._form.addRow("Filling", self.loading)
        self._form.addRow("Rhythm", self.rhythm)
        self._form.addRow(self._plane_title, self.plane)
        layout = QVBoxLayout(self)
        layout.setContentsMargins(8, 8, 8, 8)
        layout.setSpacing(6)
        layout.addLayout(self._form)
        layout.addWidget(side_by_side(self.load, self.save, stretch=ALL))
        layout.addWidget(self.export)
        layout.addWidget(self.take_up)
        layout.addStretch(1)

    def _connect(self) -> None:
        for field in (self.reader, self.study):
            field.editingFinished.connect(
                lambda: self.reader_stated.emit(self.reader.text(), self.study.text())
            )
        for choice in (self.loading, self.rhythm):
            choice.stated.connect(self._state_conditions)
        self.plane.changed.connect(self.plane_stated)
        self.plane.refused.connect(self.refused)
        self.load.clicked.connect(self.load_wanted)
        self.save.clicked.connect(self.save_wanted)
        self.export.clicked.connect(self.export_wanted)

    def _state_conditions(self) -> None:
        words = [field.chosen or "not stated" for field in (self.loading, self.rhythm)]
        self.conditions_stated.emit(Conditions(loading=words[0], rhythm=words[1]))
