"""The blinded seat's list of cases, and what a reader answers to the one on show."""

from collections.abc import Sequence

from qtpy.QtCore import Qt, Signal
from qtpy.QtWidgets import QLabel, QListWidget, QListWidgetItem, QPushButton, QVBoxLayout, QWidget

from napari_annot.entry_fields import ALL, side_by_side
from napari_annot.seating import DRAWN, NOT_READABLE, OPEN, SIGNED, CaseLine

CODE = Qt.ItemDataRole.UserRole
# told by a sign as well as by a word
SIGNS = {OPEN: "○", DRAWN: "◐", SIGNED: "●", NOT_READABLE: "✕"}
ROWS_SHOWN, SIGN_KEY, UNREADABLE_KEY = 4.4, "Ctrl+Return", "Ctrl+Shift+Return"


class SeatPanel(QWidget):
    """Shows the cases; emits which one to open and what is answered."""

    case_wanted = Signal(str)
    sign_wanted = Signal()
    unreadable_wanted = Signal()

    def __init__(self, reader: str) -> None:
        super().__init__()
        self.title, self.list = QLabel(), QListWidget()
        self._reader = reader
        self.sign, self.unreadable = QPushButton("Sign …"), QPushButton("Not readable …")
        for button, key, words in (
            (self.sign, SIGN_KEY, "Stand behind what was measured; the case is closed then."),
            (self.unreadable, UNREADABLE_KEY, "Say why this case cannot be measured."),
        ):
            button.setShortcut(key)
            button.setToolTip(f"{words}\nKey: {key}")
        self.list.setHorizontalScrollBarPolicy(Qt.ScrollBarPolicy.ScrollBarAlwaysOff)
        layout = QVBoxLayout(self)
        layout.setContentsMargins(0, 0, 0, 0)
        layout.setSpacing(4)
        for part in (self.title, self.list):
            layout.addWidget(part)
        layout.addWidget(side_by_side(self.sign, self.unreadable, stretch=ALL))
        self.list.itemClicked.connect(self._want)
        self.list.itemActivated.connect(self._want)
        self.sign.clicked.connect(self.sign_wanted)
        self.unreadable.clicked.connect(self.unreadable_wanted)
        self._shown: tuple[CaseLine, ...] | None = None

    def show_cases(self, cases: Sequence[CaseLine]) -> None:
        """Show the cases, the one on the desk marked."""
        if tuple(cases) == self._shown:
            return
        self._shown = tuple(cases)
        while self.list.count() < len(cases):
            self.list.addItem(QListWidgetItem())
        for at, one in enumerate(cases):
            row = self.list.item(at)
            row.setData(CODE, one.code)
            row.setText(f"{SIGNS[one.state]} {one.title}: {one.state}")
            if one.here:
                self.list.setCurrentItem(row)
        answered = sum(one.closed for one in cases)
        self.title.setText(f"Reader {self._reader}: {answered} of {len(cases)} cases answered")
        here = next((one for one in cases if one.here), None)
        for button in (self.sign, self.unreadable):
            button.setEnabled(here is not None and not here.closed)
        height = self.list.sizeHintForRow(0)
        self.list.setFixedHeight(round(min(len(cases), ROWS_SHOWN) * height) + 6)

    def _want(self, row: QListWidgetItem) -> None:
        self.case_wanted.emit(row.data(CODE))
