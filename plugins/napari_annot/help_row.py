"""What a program can do for the selected caliper: propose its ends, carry it; and confirming."""

from qtpy.QtCore import Signal
from qtpy.QtWidgets import QLabel, QPushButton, QVBoxLayout, QWidget

from napari_annot.entry_fields import ALL, side_by_side
from napari_annot.screen_state import ScreenState


class HelpRow(QWidget):
    """Buttons that show only where they mean something."""

    propose_wanted = Signal()
    accepted = Signal()
    left = Signal()
    carry_wanted = Signal()
    stop_wanted = Signal()
    confirmed = Signal()
    all_confirmed = Signal()

    def __init__(self) -> None:
        super().__init__()
        self.propose, self.carry = QPushButton("Refine ends"), QPushButton("Carry through the loop")
        self.accept, self.leave = QPushButton("Take proposed ends"), QPushButton("Leave as drawn")
        self.come, self.stop = QLabel(), QPushButton("Stop")
        self.confirm, self.confirm_all = QPushButton("Confirm"), QPushButton("Confirm all")
        self.propose.setToolTip("Look for the wall's edge at each end; nothing moves by itself.")
        self.carry.setToolTip("Follow both ends to the other frames; each is yours to confirm.")
        self._ask = side_by_side(self.propose, self.carry, stretch=ALL)
        self._answer = side_by_side(self.accept, self.leave, stretch=ALL)
        self._work = side_by_side(self.come, self.stop, stretch=0)
        self._check = side_by_side(self.confirm, self.confirm_all, stretch=ALL)
        layout = QVBoxLayout(self)
        layout.setContentsMargins(0, 0, 0, 0)
        layout.setSpacing(4)
        for row in (self._ask, self._answer, self._work, self._check):
            layout.addWidget(row)
        self._connect()

    def show_state(self, state: ScreenState) -> None:
        """Show what can be done now."""
        caliper = state.selected
        length = caliper is not None and caliper.measurand.kind == "length"
        drawn = caliper is not None and caliper.origin == "drawn"
        self._ask.setVisible(length and not state.ghost and not state.carrying)
        self.propose.setEnabled(drawn)
        self.carry.setEnabled(caliper is not None and caliper.confirmed)
        self._answer.setVisible(state.ghost)
        self._work.setVisible(bool(state.carrying))
        self.come.setText(state.carrying)
        self._check.setVisible(state.unconfirmed > 0)
        self.confirm.setEnabled(caliper is not None and not caliper.confirmed)
        self.confirm_all.setText(f"Confirm all {state.unconfirmed}")

    def _connect(self) -> None:
        for button, wish in (
            (self.propose, self.propose_wanted),
            (self.accept, self.accepted),
            (self.leave, self.left),
            (self.carry, self.carry_wanted),
            (self.stop, self.stop_wanted),
            (self.confirm, self.confirmed),
            (self.confirm_all, self.all_confirmed),
        ):
            button.clicked.connect(wish)
