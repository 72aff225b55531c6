"""The table of what is measured: sorted, searched; a click on a row turns to its loop and frame."""

from qtpy.QtCore import QModelIndex, QSortFilterProxyModel, Qt, Signal
from qtpy.QtGui import QKeyEvent
from qtpy.QtWidgets import (
    QAbstractItemView,
    QHeaderView,
    QLabel,
    QLineEdit,
    QTableView,
    QVBoxLayout,
    QWidget,
)

from napari_annot.screen_state import ScreenState
from napari_annot.table_model import (
    FILTER_ROLE,
    QUANTITY,
    SORT_ROLE,
    MeasurementTable,
    quantity_lines,
)

NONE_YET = "No measurement yet."
LINE_HEIGHT, ROW_HEIGHT = 18, 40


class _Table(QTableView):
    delete_pressed = Signal()

    def keyPressEvent(self, event: QKeyEvent) -> None:  # noqa: N802  # Qt's name
        """Delete takes the selected caliper out."""
        if event.key() in (Qt.Key.Key_Delete, Qt.Key.Key_Backspace):
            self.delete_pressed.emit()
        else:
            super().keyPressEvent(event)


class TablePanel(QWidget):
    """Shows the rows; emits the caliper a person turns to."""

    turned_to = Signal(str)
    delete_pressed = Signal()

    def __init__(self) -> None:
        super().__init__()
        self.model = MeasurementTable()
        self._state: ScreenState | None = None
        self.shown, self.view, self.search = QSortFilterProxyModel(), _Table(), QLineEdit()
        self._set_up_view()
        self.warnings = QLabel()
        self.warnings.setWordWrap(True)
        self.warnings.setFixedHeight(2 * LINE_HEIGHT)  # the rest stands in its tip
        self.warnings.setAlignment(Qt.AlignmentFlag.AlignTop)
        layout = QVBoxLayout(self)
        layout.setContentsMargins(0, 0, 0, 0)
        layout.setSpacing(4)
        layout.addWidget(self.view, 1)
        layout.addWidget(self.warnings)
        self.view.clicked.connect(self._on_clicked)
        self.view.delete_pressed.connect(self.delete_pressed)
        self.search.textChanged.connect(self._search)
        self.view.horizontalHeader().sortIndicatorChanged.connect(lambda *_: self._fit_rows())

    def _set_up_view(self) -> None:
        # with a parent, its wires go when the panel goes: Qt holds them where no search for
        # cycles sees them, and through them the whole dock
        self.model.setParent(self)
        self.shown.setParent(self)
        self.shown.setSourceModel(self.model)
        self.shown.setSortRole(SORT_ROLE)
        self.shown.setFilterRole(FILTER_ROLE)
        self.shown.setFilterCaseSensitivity(Qt.CaseSensitivity.CaseInsensitive)
        self.view.setModel(self.shown)
        self.view.setSortingEnabled(True)
        self.view.sortByColumn(-1, Qt.SortOrder.AscendingOrder)
        self.search.setPlaceholderText("Search …")
        self.search.setClearButtonEnabled(True)
        self.search.setToolTip(
            "Show only rows that hold these words: a quantity, a view, a loop's #"
        )
        self.search.setMinimumWidth(160)
        self.view.setSelectionBehavior(QAbstractItemView.SelectionBehavior.SelectRows)
        self.view.setSelectionMode(QAbstractItemView.SelectionMode.SingleSelection)
        self.view.verticalHeader().hide()
        self.view.verticalHeader().setDefaultSectionSize(ROW_HEIGHT)
        self.view.setShowGrid(False)
        self.view.setTextElideMode(Qt.TextElideMode.ElideRight)
        head = self.view.horizontalHeader()
        head.setMinimumSectionSize(18)
        head.setSectionResizeMode(QHeaderView.ResizeMode.ResizeToContents)
        head.setSectionResizeMode(QUANTITY, QHeaderView.ResizeMode.Stretch)
        self.view.setMinimumHeight(ROW_HEIGHT + 26)

    def show_state(self, state: ScreenState) -> None:
        """Show the rows, the selected one marked, and what its reader must know."""
        self._state = state
        if self.model.show(state.rows):
            self._fit_rows()
        key = state.selected.key if state.selected else None
        at = self._shown_at(key)
        if at is None:
            self.view.clearSelection()
        elif not self.view.selectionModel().isRowSelected(at, QModelIndex()):
            self.view.selectRow(at)
        row = next((one for one in state.rows if one.key == key), None)
        self.warnings.setVisible(bool(row and row.warnings) or not state.rows)
        if row and row.warnings:
            more = f" (and {len(row.warnings) - 1} more)" if len(row.warnings) > 1 else ""
            self.warnings.setText(f"{row.quantity}: {row.warnings[0]}{more}")
            self.warnings.setToolTip("\n".join(row.warnings))
        elif not state.rows:
            self.warnings.setText(NONE_YET)

    def _search(self, words: str) -> None:
        self.shown.setFilterFixedString(words)
        self._fit_rows()

    def _shown_at(self, key: str | None) -> int | None:
        """Return where a caliper stands as the rows are sorted, None where it is not shown."""
        at = self.model.row_of(key)
        if at is None:
            return None
        place = self.shown.mapFromSource(self.model.index(at, 0))
        return place.row() if place.isValid() else None

    def _fit_rows(self) -> None:
        """Give each row the height of its lines; asking Qt for it would measure every cell."""
        if self._state is None:
            return
        for at, row in enumerate(self._state.rows):
            place = self.shown.mapFromSource(self.model.index(at, 0))
            height = max(ROW_HEIGHT, LINE_HEIGHT * len(quantity_lines(row)) + 4)
            if place.isValid() and self.view.rowHeight(place.row()) != height:
                self.view.setRowHeight(place.row(), height)

    def _on_clicked(self, index: QModelIndex) -> None:
        self.turned_to.emit(self.model.key_at(self.shown.mapToSource(index).row()))
