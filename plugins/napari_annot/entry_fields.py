"""Fields for entering numbers and words: empty until stated, deaf to a passing mouse wheel."""

from collections.abc import Sequence

from qtpy.QtCore import QRegularExpression, Signal
from qtpy.QtGui import QRegularExpressionValidator, QWheelEvent
from qtpy.QtWidgets import QComboBox, QHBoxLayout, QLineEdit, QWidget

from annot.errors import InputError

FIELD_HEIGHT = 23
ALL = -1
DIGITS = r"\d{0,4}([.,]\d{0,6})?"
SIGNED_DIGITS = rf"[-−]?{DIGITS}"


class NumberField(QLineEdit):
    """A number that may be left unstated: empty, with words for what then holds.

    Parameters
    ----------
    title : str
        Names the field in a refusal.
    unstated : str
        What holds while nobody states a number.
    zero : bool
        Whether 0 is a statement; otherwise a number must be above it.
    signed : bool
        Whether numbers below 0 are statements too.
    """

    changed = Signal(object)
    refused = Signal(str)

    def __init__(
        self,
        title: str,
        unstated: str,
        *,
        highest: float = 1000.0,
        zero: bool = False,
        signed: bool = False,
    ) -> None:
        super().__init__()
        self._title, self._highest, self._zero = title, highest, zero or signed
        self._lowest = -highest if signed else 0.0
        self._last: float | None = None
        self.setPlaceholderText(unstated)
        digits = QRegularExpression(SIGNED_DIGITS if signed else DIGITS)
        self.setValidator(QRegularExpressionValidator(digits, self))
        self.setMinimumWidth(50)
        self.setFixedHeight(FIELD_HEIGHT)
        self.editingFinished.connect(self._tell)

    @property
    def stated(self) -> float | None:
        """The number, None while nobody stated one.

        Raises
        ------
        InputError
            If it lies outside what the field takes.
        """
        text = self.text().strip().replace(",", ".").replace("−", "-")
        if not text:
            return None
        value = float(text) if text.strip("-.") else 0.0
        if not self._lowest <= value <= self._highest or (value == 0 and not self._zero):
            lowest = f"{self._lowest:g}" if self._zero else "above 0"
            raise InputError(f"{self._title}: state a number {lowest} to {self._highest:g}.")
        return value

    @property
    def known(self) -> float | None:
        """The last number that was taken."""
        return self._last

    def state(self, value: float | None) -> None:
        """Show a number, but not while a person types."""
        if not self.hasFocus():
            self._last = value
            self.setText("" if value is None else f"{value:.10g}")

    def _tell(self) -> None:
        """Tell of a new number once a person is done typing."""
        try:
            value = self.stated
        except InputError as fault:
            self.setText("" if self._last is None else f"{self._last:.10g}")
            self.refused.emit(fault.message)
            return
        if value != self._last:
            self._last = value
            self.changed.emit(value)


class ChoiceField(QComboBox):
    """A choice of words with the value behind each; `stated` once a person is done choosing."""

    stated = Signal(str)

    def __init__(
        self, choices: Sequence[tuple[str, str]] = (), *, free: bool = False, letters: int = 8
    ) -> None:
        super().__init__()
        self.setEditable(free)
        self.setSizeAdjustPolicy(QComboBox.SizeAdjustPolicy.AdjustToMinimumContentsLengthWithIcon)
        self.setMinimumContentsLength(letters)
        self.setFixedHeight(FIELD_HEIGHT)
        self.offer(choices)
        self.activated.connect(self._tell)
        typing = self.lineEdit()
        if typing is not None:
            typing.editingFinished.connect(self._tell)

    def _tell(self) -> None:
        self.stated.emit(self.chosen)

    def offer(self, choices: Sequence[tuple[str, str]]) -> None:
        """Set the choices as (value, words), keeping the present one where it still exists."""
        present = [(self.itemData(index), self.itemText(index)) for index in range(self.count())]
        if list(choices) == present:
            return
        value = self.chosen
        was = self.blockSignals(True)
        self.clear()
        for item, words in choices:
            self.addItem(words, item)
        self.blockSignals(was)
        self.choose(value)

    @property
    def chosen(self) -> str:
        """The value behind the present words; the words themselves where they were typed."""
        index = self.findText(self.currentText())
        return str(self.itemData(index)) if index >= 0 else self.currentText().strip()

    def choose(self, value: str) -> None:
        """Show a value without telling anybody."""
        typing = self.lineEdit()
        if self.hasFocus() or (typing is not None and typing.hasFocus()):
            return
        was = self.blockSignals(True)
        index = self.findData(value)
        if index >= 0:
            self.setCurrentIndex(index)
        elif self.isEditable():
            self.setEditText(value)
        self.blockSignals(was)

    def wheelEvent(self, event: QWheelEvent) -> None:  # noqa: N802  # Qt's name
        """Let the wheel scroll the panel."""
        event.ignore()


def side_by_side(*widgets: QWidget, stretch: int = 0) -> QWidget:
    """Return widgets in one row; the one at `stretch` takes the spare room, or all alike."""
    row = QWidget()
    layout = QHBoxLayout(row)
    layout.setContentsMargins(0, 0, 0, 0)
    layout.setSpacing(6)
    for index, widget in enumerate(widgets):
        layout.addWidget(widget, 1 if stretch in (index, ALL) else 0)
    return row
