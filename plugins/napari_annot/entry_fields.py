"""Fields for entering numbers and words: empty until stated, deaf to a passing mouse wheel."""

from collections.abc import Sequence

from qtpy.QtCore import Signal
from qtpy.QtGui import QWheelEvent
from qtpy.QtWidgets import QAbstractSpinBox, QComboBox, QDoubleSpinBox, QHBoxLayout, QWidget


class NumberField(QDoubleSpinBox):
    """A number that may be left unstated; its lowest position shows what then holds."""

    def __init__(
        self, unstated: str, *, suffix: str = "", decimals: int = 2, highest: float = 999.0
    ) -> None:
        super().__init__()
        step = 10.0**-decimals
        self.setDecimals(decimals)
        self.setRange(0.0, highest)
        self.setSingleStep(step * 10 if decimals > 1 else step)
        self.setSpecialValueText(unstated)
        self.setSuffix(f" {suffix}" if suffix else "")
        self.setButtonSymbols(QAbstractSpinBox.ButtonSymbols.NoButtons)
        self.setKeyboardTracking(False)
        self.setMinimumWidth(70)

    @property
    def stated(self) -> float | None:
        """The number, None while nobody stated one."""
        value = self.value()
        return value if value > self.minimum() else None

    def state(self, value: float | None) -> None:
        """Show a number without telling anybody, but not while a person types in it."""
        if not self.hasFocus():
            was = self.blockSignals(True)
            self.setValue(self.minimum() if value is None else value)
            self.blockSignals(was)

    def wheelEvent(self, event: QWheelEvent) -> None:  # noqa: N802  # Qt's name
        """Let the wheel scroll the panel: it must not change a number that nobody looks at."""
        event.ignore()


class AngleField(NumberField):
    """An angle from 0 that may be left unstated; 0 is a statement, so unstated lies below it."""

    def __init__(self, unstated: str, *, highest: float) -> None:
        super().__init__(unstated, suffix="°", decimals=1, highest=highest)
        self.setMinimum(-1.0)
        self.setSingleStep(1.0)
        self.setValue(-1.0)

    @property
    def stated(self) -> float | None:
        """The angle, None while nobody stated one."""
        value = self.value()
        return value if value >= 0 else None


class ChoiceField(QComboBox):
    """A choice of words with the value behind each; `stated` once a person is done choosing."""

    stated = Signal(str)

    def __init__(self, choices: Sequence[tuple[str, str]] = (), *, free: bool = False) -> None:
        super().__init__()
        self.setEditable(free)
        self.setSizeAdjustPolicy(QComboBox.SizeAdjustPolicy.AdjustToMinimumContentsLengthWithIcon)
        self.setMinimumContentsLength(8)
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
    """Return widgets in one row; the one at `stretch` takes the spare room."""
    row = QWidget()
    layout = QHBoxLayout(row)
    layout.setContentsMargins(0, 0, 0, 0)
    layout.setSpacing(6)
    for index, widget in enumerate(widgets):
        layout.addWidget(widget, 1 if index == stretch else 0)
    return row
