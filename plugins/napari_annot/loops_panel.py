"""The loops on the desk: open more, choose the one on show."""

from qtpy.QtCore import Qt, Signal
from qtpy.QtWidgets import (
    QAbstractItemView,
    QHeaderView,
    QPushButton,
    QTreeWidget,
    QTreeWidgetItem,
    QVBoxLayout,
    QWidget,
)

from napari_annot.entry_fields import ALL, side_by_side
from napari_annot.screen_state import LoopLine, ScreenState

HEADS = ("#", "Loop", "Kind", "View", "Scale")
FILE = Qt.ItemDataRole.UserRole
LIST_HEIGHT = 76


class LoopsPanel(QWidget):
    """A list of loops with name, modality, view and state of the scale."""

    file_wanted = Signal()
    folder_wanted = Signal()
    chosen = Signal(str)

    def __init__(self) -> None:
        super().__init__()
        self.open_file = QPushButton("Open loops …")
        self.open_folder = QPushButton("Open folder …")
        self.list = QTreeWidget()
        self.list.setHeaderLabels(list(HEADS))
        self.list.setRootIsDecorated(False)
        self.list.setUniformRowHeights(True)
        self.list.setSelectionMode(QAbstractItemView.SelectionMode.SingleSelection)
        self.list.header().setMinimumSectionSize(18)
        for column in range(len(HEADS)):
            self.list.header().setSectionResizeMode(column, QHeaderView.ResizeMode.ResizeToContents)
        # where all does not fit, the scale is cut: it stands in full above the tabs
        last = len(HEADS) - 1
        self.list.header().setSectionResizeMode(last, QHeaderView.ResizeMode.Stretch)
        self.list.header().setStretchLastSection(False)
        self.list.setFixedHeight(LIST_HEIGHT)
        layout = QVBoxLayout(self)
        layout.setContentsMargins(0, 0, 0, 0)
        layout.setSpacing(4)
        layout.addWidget(side_by_side(self.open_file, self.open_folder, stretch=ALL))
        layout.addWidget(self.list)
        self.open_file.clicked.connect(self.file_wanted)
        self.open_folder.clicked.connect(self.folder_wanted)
        self.list.itemClicked.connect(lambda item, _: self.chosen.emit(item.data(0, FILE)))
        self._shown: tuple[LoopLine, ...] = ()

    def show_state(self, state: ScreenState) -> None:
        """Show the list, the loop on show marked."""
        if state.loops != self._shown:
            self._shown = state.loops
            self.list.clear()
            self.list.addTopLevelItems([_item(line) for line in state.loops])
        for index in range(self.list.topLevelItemCount()):
            item = self.list.topLevelItem(index)
            if item is not None and item.data(0, FILE) == state.shown:
                self.list.setCurrentItem(item)
                return
        self.list.clearSelection()


def _item(line: LoopLine) -> QTreeWidgetItem:
    cells = [str(line.number), line.name, line.modality, line.view, line.scale]
    item = QTreeWidgetItem(cells)
    item.setData(0, FILE, line.file)
    tip = "\n".join([line.file, f"{line.frames} frames", *line.warnings])
    for column in range(len(cells)):
        item.setToolTip(column, tip)
    return item
