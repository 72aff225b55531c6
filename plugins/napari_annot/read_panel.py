"""Who reads what, by which protocol, under which conditions; the read file and the table."""

from qtpy.QtCore import Signal
from qtpy.QtWidgets import QFormLayout, QLabel, QLineEdit, QPushButton, QVBoxLayout, QWidget

from annot.reads import Conditions
from annot.reads.read import Implant
from annot.tasks.protocol import shipped_protocols
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
FILLINGS = (
    NOT_STATED,
    ("well filled", "well filled"),
    ("partly filled", "partly filled"),
    ("hardly filled", "hardly filled"),
)
MOMENTS = (
    NOT_STATED,
    ("largest ostium", "largest ostium"),
    ("end-systole", "end-systole"),
    ("end-diastole", "end-diastole"),
)
OWN_PROTOCOL = "one of your own …"


class ReadPanel(QWidget):
    """Statements about the read and its files; emits what a person states or asks for."""

    reader_stated = Signal(str, str)
    conditions_stated = Signal(object)
    plane_stated = Signal(object)
    protocol_stated = Signal(str)
    own_protocol_wanted = Signal()
    implant_stated = Signal(object)
    load_wanted = Signal()
    save_wanted = Signal()
    export_wanted = Signal()
    refused = Signal(str)

    def __init__(self) -> None:
        super().__init__()
        self.reader, self.study = QLineEdit(), QLineEdit()
        self.reader.setPlaceholderText("a code, no name")
        self.study.setPlaceholderText("a code; empty: a pseudonym is made")
        self.protocol = ChoiceField()
        self.loading = ChoiceField(LOADINGS, free=True)
        self.rhythm = ChoiceField(RHYTHMS, free=True)
        self.filling = ChoiceField(FILLINGS, free=True)
        self.moment = ChoiceField(MOMENTS, free=True)
        self.pressure = NumberField("Atrial pressure", "not stated", highest=60, zero=True)
        self.implant_mm = NumberField("Implant's width", "none", highest=60)
        self.implant_tolerance_mm = NumberField("Its tolerance", "± mm", highest=10)
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
        self._show_protocol(state)
        for choice, words in self._conditions(state.conditions):
            choice.choose(words)
        self.pressure.state(state.conditions.atrial_pressure_mmhg)
        self.plane.state(state.plane_deg)
        implant = state.implant
        self.implant_mm.state(None if implant is None else implant.nominal_width_mm)
        self.implant_tolerance_mm.state(None if implant is None else implant.tolerance_mm)
        self._form.setRowVisible(self.plane, state.modality == "US")
        for statement in (*self._words, self.pressure, self.plane):
            statement.setEnabled(state.shown is not None)

    def limit(self) -> None:
        """Leave only what a blinded reader states: plane and conditions."""
        for row in (self.reader, self.study, self.protocol, self._implant):
            row.setEnabled(False)
            self._form.setRowVisible(row, False)
        for button in (self.load, self.save, self.export, self.take_up):
            button.setEnabled(False)
            button.hide()

    @property
    def _words(self) -> tuple[ChoiceField, ...]:
        return (self.loading, self.rhythm, self.filling, self.moment)

    def _conditions(self, stated: Conditions) -> tuple[tuple[ChoiceField, str], ...]:
        words = (stated.loading, stated.rhythm, stated.filling, stated.moment)
        return tuple(zip(self._words, words, strict=True))

    def _show_protocol(self, state: ScreenState) -> None:
        """Offer the protocols that come along, the read's own, and a file."""
        known = dict.fromkeys([*shipped_protocols(), state.protocol])
        self.protocol.offer([*((one, one) for one in known), ("", OWN_PROTOCOL)])
        self.protocol.choose(state.protocol)

    def _lay_out(self) -> None:
        self._form.setVerticalSpacing(4)
        self._form.addRow("Reader", self.reader)
        self._form.addRow("Study", self.study)
        self._form.addRow("Protocol", self.protocol)
        self._implant = side_by_side(self.implant_mm, self.implant_tolerance_mm, stretch=ALL)
        self._implant.setToolTip(
            "Nominal width of the device implanted, and its tolerance; for follow-up"
        )
        self._form.addRow("Implant mm, ±", self._implant)
        heading = QLabel("This loop")
        heading.setStyleSheet("font-weight: bold;")
        self._form.addRow(heading)
        self._form.addRow(self._plane_title, self.plane)
        self._form.addRow("Loading", self.loading)
        self._form.addRow("Rhythm", self.rhythm)
        self._form.addRow("Filling", self.filling)
        self._form.addRow("Moment", self.moment)
        self._form.addRow("Pressure mmHg", self.pressure)
        self.pressure.setToolTip("Mean pressure in the left atrium")
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
        for choice in self._words:
            choice.stated.connect(self._state_conditions)
        self.protocol.stated.connect(self._state_protocol)
        self.plane.changed.connect(self.plane_stated)
        self.pressure.changed.connect(lambda _: self._state_conditions())
        for number in (self.implant_mm, self.implant_tolerance_mm):
            number.changed.connect(lambda _: self._state_implant())
        for number in (self.plane, self.pressure, self.implant_mm, self.implant_tolerance_mm):
            number.refused.connect(self.refused)
        self.load.clicked.connect(self.load_wanted)
        self.save.clicked.connect(self.save_wanted)
        self.export.clicked.connect(self.export_wanted)

    def _state_conditions(self) -> None:
        words = [field.chosen or NOT_STATED[0] for field in self._words]
        loading, rhythm, filling, moment = words
        self.conditions_stated.emit(
            Conditions(
                loading=loading,
                rhythm=rhythm,
                filling=filling,
                moment=moment,
                atrial_pressure_mmhg=self.pressure.known,
            )
        )

    def _state_protocol(self, name: str) -> None:
        if name:
            self.protocol_stated.emit(name)
        else:
            self.own_protocol_wanted.emit()

    def _state_implant(self) -> None:
        """Tell of an implant once both its numbers are stated, and of none where neither is."""
        width, tolerance = self.implant_mm.known, self.implant_tolerance_mm.known
        if width is None and tolerance is None:
            self.implant_stated.emit(None)
        elif width is not None and tolerance is not None:
            self.implant_stated.emit(Implant(nominal_width_mm=width, tolerance_mm=tolerance))
