"""The loops on the desk: open more, choose the one on show."""

import numpy as np
from numpy.typing import NDArray
from qtpy.QtCore import QSize, Qt, Signal
from qtpy.QtGui import QIcon, QImage, QPixmap
from qtpy.QtWidgets import (
    QAbstractItemView,
    QListWidget,
    QListWidgetItem,
    QPushButton,
    QVBoxLayout,
    QWidget,
)

from napari_annot.entry_fields import ALL, side_by_side
from napari_annot.screen_state import LoopLine, ScreenState

FILE = Qt.ItemDataRole.UserRole
ICON = 38
# a part of a row shows that there are more
ROWS_SHOWN, ROWS_TALL, TALL = 2.4, 5.4, 1000
MODALITIES = {"XA": "X-ray", "US": "echo"}


class LoopsPanel(QWidget):
    """A list of loops: small picture, name, modality, angle, state of the scale."""

    file_wanted = Signal()
    folder_wanted = Signal()
    chosen = Signal(str)

    def __init__(self) -> None:
        super().__init__()
        self.open_file = QPushButton("Open loops …")
        self.open_folder = QPushButton("Open folder …")
        self.list = QListWidget()
        self.list.setIconSize(QSize(ICON, ICON))
        self.list.setUniformItemSizes(True)
        self.list.setSelectionMode(QAbstractItemView.SelectionMode.SingleSelection)
        self.list.setHorizontalScrollBarPolicy(Qt.ScrollBarPolicy.ScrollBarAlwaysOff)
        self.list.setTextElideMode(Qt.TextElideMode.ElideRight)
        layout = QVBoxLayout(self)
        layout.setContentsMargins(0, 0, 0, 0)
        layout.setSpacing(4)
        layout.addWidget(side_by_side(self.open_file, self.open_folder, stretch=ALL))
        layout.addWidget(self.list)
        self.open_file.clicked.connect(self.file_wanted)
        self.open_folder.clicked.connect(self.folder_wanted)
        self.list.itemClicked.connect(lambda item: self.chosen.emit(item.data(FILE)))
        self._shown: tuple[LoopLine, ...] | None = None
        self._icons: dict[str, QIcon] = {}

    def show_state(self, state: ScreenState) -> None:
        """Show the list, the loop on show marked."""
        if state.loops != self._shown:
            self._shown = state.loops
            self._fill(state.loops)
        for index in range(self.list.count()):
            item = self.list.item(index)
            if item is not None and item.data(FILE) == state.shown:
                self.list.setCurrentItem(item)
                return
        self.list.clearSelection()

    def show_thumbnail(self, file: str, picture: NDArray[np.uint8] | None) -> None:
        """Show a loop's small picture beside its name."""
        if picture is None:
            return
        rows, columns = picture.shape[:2]
        image = QImage(
            picture.tobytes(), columns, rows, 3 * columns, QImage.Format.Format_RGB888
        ).copy()
        self._icons[file] = QIcon(QPixmap.fromImage(image))
        for index in range(self.list.count()):
            item = self.list.item(index)
            if item is not None and item.data(FILE) == file:
                item.setIcon(self._icons[file])

    def _fill(self, lines: tuple[LoopLine, ...]) -> None:
        """Bring the list to these lines; rows that stay stay, so that a click finds its row."""
        held = [self.list.item(at).data(FILE) for at in range(self.list.count())]
        if held != [line.file for line in lines]:
            self.list.clear()
            for line in lines:
                item = QListWidgetItem(self._icons.get(line.file, _blank()), "")
                item.setData(FILE, line.file)
                self.list.addItem(item)
        height = max(ICON + 4, 2 * self.fontMetrics().lineSpacing() + 8)
        for at, line in enumerate(lines):
            row = self.list.item(at)
            row.setText(_words(line))
            row.setSizeHint(QSize(0, height))
            row.setToolTip("\n".join([line.file, f"{line.frames} frames", *line.warnings]))
        rows = min(max(len(lines), 1), ROWS_SHOWN if self.window().height() < TALL else ROWS_TALL)
        self.list.setFixedHeight(round(rows * height) + 6)


def _blank() -> QIcon:
    """Return a dark square, so that words stand in line until the picture comes."""
    blank = QPixmap(ICON, ICON)
    blank.fill(Qt.GlobalColor.black)
    return QIcon(blank)


def _words(line: LoopLine) -> str:
    view = f" {line.view}" if line.view not in ("", "–") else ""
    modality = MODALITIES.get(line.modality, line.modality)
    return f"{line.number}  {line.name}\n{modality}{view} · {_scale(line.scale)}"


def _scale(words: str) -> str:
    """Return a scale's state with a sign where lengths are not in mm."""
    amiss = {"none yet": "⚠ no scale yet", "refused": "⚠ scale refused", "fitting …": "… fitting"}
    return amiss.get(words, words)
