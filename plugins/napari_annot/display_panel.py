"""How the loop on show is shown; nothing here touches what is measured."""

from qtpy.QtCore import Signal
from qtpy.QtWidgets import QCheckBox, QFormLayout, QLabel, QPushButton, QVBoxLayout, QWidget

from annot.tasks.open import DisplayChoice
from napari_annot.display_state import LOOKING_ONLY
from napari_annot.entry_fields import ALL, ChoiceField, side_by_side
from napari_annot.looks import NAMES
from napari_annot.screen_state import ScreenState
from napari_annot.tips import BUTTON_TIPS
from napari_annot.wording import joined

SHUTTER, SUBTRACTION, SWAP = (
    "Hide what the shutter covers",
    "Subtract the mask",
    "Swap dark and light",
)
BY_HAND = ("", "set by hand")
DRAG = "Drag with the right button over the picture: right widens, down darkens."


class DisplayPanel(QWidget):
    """Choices for looking; emits the whole choice when a person changes part of it."""

    chosen = Signal(object)
    window_chosen = Signal(str)
    gamma_turned = Signal(int)
    reset_wanted = Signal()

    def __init__(self) -> None:
        super().__init__()
        self.greys, self.windows = ChoiceField(), ChoiceField()
        self.darker, self.brighter = QPushButton("Darker"), QPushButton("Brighter")
        self.as_filed, self.look = QPushButton("As the file asks"), QLabel()
        self.shutter, self.subtraction, self.swap = QCheckBox(), QCheckBox(), QCheckBox(SWAP)
        self.reminder, self.notes = QLabel(LOOKING_ONLY), QLabel()
        self._lay_out()
        self.greys.stated.connect(self._choose)
        self.windows.stated.connect(self.window_chosen)
        self.darker.clicked.connect(lambda: self.gamma_turned.emit(1))
        self.brighter.clicked.connect(lambda: self.gamma_turned.emit(-1))
        self.as_filed.clicked.connect(self.reset_wanted)
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

    def show_look(self, name: str | None, words: str) -> None:
        """Say through which window the loop is looked at; None for one in colour."""
        own = ((BY_HAND[0], BY_HAND[1]),) if name == BY_HAND[0] else ()
        self.windows.offer((*own, *((one, one) for one in NAMES)) if name is not None else ())
        self.windows.choose(name or BY_HAND[0])
        self.windows.setEnabled(name is not None)
        self.darker.setEnabled(name is not None)
        self.brighter.setEnabled(name is not None)
        self.look.setText(words)

    def _lay_out(self) -> None:
        form = QFormLayout()
        form.setVerticalSpacing(4)
        form.setFieldGrowthPolicy(QFormLayout.FieldGrowthPolicy.AllNonFixedFieldsGrow)
        form.addRow("Greys", self.greys)
        form.addRow("Window", self.windows)
        form.addRow("Middle greys", side_by_side(self.darker, self.brighter, stretch=ALL))
        self.windows.setToolTip(DRAG)
        self.shutter.setToolTip(BUTTON_TIPS[SHUTTER])
        self.subtraction.setToolTip(BUTTON_TIPS[SUBTRACTION])
        self.darker.setToolTip("Raise gamma: the middle greys get darker.")
        self.brighter.setToolTip("Lower gamma: the middle greys get brighter.")
        self.as_filed.setToolTip("Undo every change of the look; calipers stay as they are.")
        layout = QVBoxLayout(self)
        layout.setContentsMargins(8, 8, 8, 8)
        layout.setSpacing(6)
        layout.addWidget(self.reminder)
        layout.addLayout(form)
        layout.addWidget(self.look)
        for box in (self.shutter, self.subtraction, self.swap):
            layout.addWidget(box)
        layout.addWidget(self.as_filed)
        layout.addWidget(self.notes)
        layout.addStretch(1)
        for label in (self.reminder, self.look, self.notes):
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
