"""How the loop on show is shown; nothing here touches what is measured."""

from qtpy.QtCore import Signal
from qtpy.QtWidgets import QCheckBox, QFormLayout, QLabel, QVBoxLayout, QWidget

from annot.tasks.open import DisplayChoice
from napari_annot.display_state import LOOKING_ONLY
from napari_annot.entry_fields import ChoiceField
from napari_annot.screen_state import ScreenState
from napari_annot.wording import joined

SHUTTER, SUBTRACTION, SWAP = (
    "Hide what the shutter covers",
    "Subtract the mask",
    "Swap dark and light",
)


class DisplayPanel(QWidget):
    """Choices for looking; emits the whole choice when a person changes part of it."""

    chosen = Signal(object)

    def __init__(self) -> None:
        super().__init__()
        self.greys = ChoiceField()
        self.shutter, self.subtraction, self.swap = QCheckBox(), QCheckBox(), QCheckBox(SWAP)
        self.reminder, self.notes = QLabel(LOOKING_ONLY), QLabel()
        self._lay_out()
        self.greys.stated.connect(self._choose)
        for box in (self.shutter, self.subtraction, self.swap):
            box.clicked.connect(self._choose)

    def show_state(self, state: ScreenState) -> None:
        """Follow the loop on show."""
        words, choice = state.display, state.display.choice
        self.greys.offer(words.greys)
        self.greys.choose(words.chosen_greys)
        # how far a difference reaches has nothing to do with the windows made for stored values
        self.greys.setEnabled(len(words.greys) > 1 and not (words.mask and choice.subtracted))
        _tick(self.shutter, on=choice.shuttered, title=SHUTTER, offered=words.shutter)
        _tick(self.subtraction, on=choice.subtracted, title=SUBTRACTION, offered=words.mask)
        self.swap.setChecked(words.swap and choice.inverted)
        self.swap.setEnabled(words.swap)
        self.notes.setText(joined(words.notes))
        self.notes.setVisible(bool(words.notes))
        self.setEnabled(state.shown is not None)

    def _lay_out(self) -> None:
        form = QFormLayout()
        form.setVerticalSpacing(4)
        form.setFieldGrowthPolicy(QFormLayout.FieldGrowthPolicy.AllNonFixedFieldsGrow)
        form.addRow("Greys", self.greys)
        layout = QVBoxLayout(self)
        layout.setContentsMargins(8, 8, 8, 8)
        layout.setSpacing(6)
        layout.addWidget(self.reminder)
        layout.addLayout(form)
        for box in (self.shutter, self.subtraction, self.swap):
            layout.addWidget(box)
        layout.addWidget(self.notes)
        layout.addStretch(1)
        for label in (self.reminder, self.notes):
            label.setWordWrap(True)

    def _choose(self) -> None:
        place = self.greys.chosen
        self.chosen.emit(
            DisplayChoice(
                greys=int(place) if place else None,
                shuttered=self.shutter.isChecked(),
                subtracted=self.subtraction.isChecked(),
                inverted=self.swap.isChecked(),
            )
        )


def _tick(box: QCheckBox, *, on: bool, title: str, offered: bool) -> None:
    """Show a choice, or that the file gives nothing to choose."""
    box.setText(title if offered else f"{title} (none stored)")
    box.setChecked(offered and on)
    box.setEnabled(offered)
