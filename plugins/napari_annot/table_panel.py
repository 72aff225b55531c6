"""The table in the dock: a click on a row turns to its loop and frame."""

from qtpy.QtCore import QModelIndex, Qt, Signal
from qtpy.QtGui import QKeyEvent
from qtpy.QtWidgets import QAbstractItemView, QHeaderView, QLabel, QTableView, QVBoxLayout, QWidget

from napari_annot.screen_state import ScreenState
from napari_annot.table_model import QUANTITY, MeasurementTable, quantity_lines

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
        self.view = _Table()
        self.view.setModel(self.model)
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
        self.view.setMinimumHeight(3 * ROW_HEIGHT + 26)
        self.warnings = QLabel()
        self.warnings.setWordWrap(True)
        layout = QVBoxLayout(self)
        layout.setContentsMargins(0, 0, 0, 0)
        layout.setSpacing(4)
        layout.addWidget(self.view, 1)
        layout.addWidget(self.warnings)
        self.view.clicked.connect(self._on_clicked)
        self.view.delete_pressed.connect(self.delete_pressed)

    def show_state(self, state: ScreenState) -> None:
        """Show the rows, the selected one marked, and what its reader must know."""
        if self.model.show(state.rows):
            self._fit_rows(state)
        key = state.selected.key if state.selected else None
        at = self.model.row_of(key)
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

    def _fit_rows(self, state: ScreenState) -> None:
        """Give each row the height of its lines; asking Qt for it would measure every cell."""
        for at, row in enumerate(state.rows):
            height = max(ROW_HEIGHT, LINE_HEIGHT * len(quantity_lines(row)) + 4)
            if self.view.rowHeight(at) != height:
                self.view.setRowHeight(at, height)

    def _on_clicked(self, index: QModelIndex) -> None:
        self.turned_to.emit(self.model.key_at(index.row()))
