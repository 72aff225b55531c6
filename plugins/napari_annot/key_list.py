"""The list of everything that has a key: searched by typing, done by Return."""

from qtpy.QtCore import QEvent, QModelIndex, QObject, Qt
from qtpy.QtGui import QColor, QKeyEvent, QKeySequence
from qtpy.QtWidgets import (
    QAbstractItemView,
    QDialog,
    QHeaderView,
    QLabel,
    QLineEdit,
    QTreeWidget,
    QTreeWidgetItem,
    QVBoxLayout,
    QWidget,
)

from napari_annot.keys import Keys

HEADS = ("Action", "Key", "Group")
NAME = Qt.ItemDataRole.UserRole
TITLE = "Actions and keys"
HINT = "Type to search; Return or a double click does it."
NOT_NOW, GREY = "not now", "#8A8F98"
LEAST_POINTS = 10


class KeyList(QDialog):
    """A window beside the work: it stays open and goes on telling what is possible now."""

    def __init__(self, keys: Keys, parent: QWidget) -> None:
        super().__init__(parent)
        self._keys = keys
        self.setWindowTitle(TITLE)
        self.setModal(False)
        self.search, self.list, hint = QLineEdit(), QTreeWidget(), QLabel(HINT)
        self.search.setPlaceholderText("for instance: beat, undo, ostium, Ctrl")
        self.search.setClearButtonEnabled(True)
        hint.setWordWrap(True)
        self.list.setHeaderLabels(list(HEADS))
        self.list.setRootIsDecorated(False)
        self.list.setUniformRowHeights(True)
        self.list.setSelectionMode(QAbstractItemView.SelectionMode.SingleSelection)
        self.list.header().setStretchLastSection(False)
        self.list.header().setSectionResizeMode(0, QHeaderView.ResizeMode.Stretch)
        layout = QVBoxLayout(self)
        for part in (self.search, self.list, hint):
            layout.addWidget(part)
        self.setStyleSheet(f"* {{ font-size: {LEAST_POINTS}pt; }}")
        self.resize(680, 560)
        self.search.textChanged.connect(self.look_for)
        self.search.returnPressed.connect(self.do_current)
        self.search.installEventFilter(self)
        self.list.itemActivated.connect(self._do)

    def open_list(self) -> None:
        """Show what can be done now, with the cursor in the search field."""
        self._fill()
        self.look_for(self.search.text())
        self.show()
        self.raise_()
        self.activateWindow()
        self.search.setFocus()
        self.search.selectAll()

    def look_for(self, text: str) -> None:
        """Show the actions in which every word typed occurs, and stand on the first."""
        wanted = text.casefold().split()
        first = None
        for place in range(self.list.topLevelItemCount()):
            item = self.list.topLevelItem(place)
            if item is None:
                continue
            said = " ".join(item.text(column) for column in range(len(HEADS))).casefold()
            item.setHidden(not all(word in said for word in wanted))
            first = first or (None if item.isHidden() else item)
        if first is None:
            self.list.clearSelection()
            self.list.setCurrentIndex(QModelIndex())
        else:
            self.list.setCurrentItem(first)

    def do_current(self) -> None:
        """Do the action that the list stands on."""
        item = self.list.currentItem()
        if item is not None:
            self._do(item)

    def eventFilter(self, watched: QObject, event: QEvent) -> bool:  # noqa: N802  # Qt's name
        """Let the arrows move in the list while the cursor stays in the search field."""
        moving = {Qt.Key.Key_Up, Qt.Key.Key_Down, Qt.Key.Key_PageUp, Qt.Key.Key_PageDown}
        if event.type() != QEvent.Type.KeyPress or not isinstance(event, QKeyEvent):
            return bool(super().eventFilter(watched, event))
        if event.key() in moving:
            self.list.keyPressEvent(event)
            return True
        return bool(super().eventFilter(watched, event))

    def _fill(self) -> None:
        self.list.clear()
        for one in self._keys.bound:
            key = QKeySequence(one.key).toString(QKeySequence.SequenceFormat.NativeText)
            can = self._keys.can(one.name)
            item = QTreeWidgetItem(
                [one.words, key, one.group if can else f"{one.group}, {NOT_NOW}"]
            )
            item.setData(0, NAME, one.name)
            for column in range(len(HEADS) if not can else 0):
                item.setForeground(column, QColor(GREY))
            self.list.addTopLevelItem(item)
        for column in (1, 2):
            self.list.resizeColumnToContents(column)

    def _do(self, item: QTreeWidgetItem, *_: object) -> None:
        name = str(item.data(0, NAME))
        if self._keys.can(name):
            self.hide()
            self._keys.do(name)
