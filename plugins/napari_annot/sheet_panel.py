"""The sheet on the screen: a grid of cells, and below it what follows from them."""

from qtpy.QtCore import QRectF, QSize, Qt, Signal
from qtpy.QtGui import QPainter, QPaintEvent
from qtpy.QtWidgets import (
    QGridLayout,
    QHBoxLayout,
    QLabel,
    QPushButton,
    QScrollArea,
    QSizePolicy,
    QVBoxLayout,
    QWidget,
)

from napari_annot.entry_fields import side_by_side
from napari_annot.follows_panel import FollowsPanel
from napari_annot.sheet import COMPONENT_WORDS
from napari_annot.sheet_cell import SheetCell, paint_bar
from napari_annot.sheet_state import SheetRow, SheetState, ViewColumn
from napari_annot.sheetwork import Asked

NO_LOOPS = "Open loops: every view at hand becomes a column here."
MORE, LESS = "All quantities", "Required only"


class SheetPanel(QWidget):
    """Shows a sheet; emits the cell, the repeat or the view that a person asks for."""

    cell_wanted = Signal(str, int)
    repeat_wanted = Signal(str, int, int)
    next_wanted = Signal()
    view_wanted = Signal(str)

    def __init__(self) -> None:
        super().__init__()
        self.state = QLabel()
        self.next, self.more = QPushButton("Read next"), QPushButton(MORE)
        self.more.setCheckable(True)
        self.absent, self.legend = QLabel(), Legend()
        self.follows = FollowsPanel()
        self.cells: dict[tuple[str, int], SheetCell] = {}
        self.heads: list[QPushButton] = []
        self._grid_of: tuple[object, ...] | None = None
        self._sheet = SheetState()
        self._in_sight: tuple[str, int] | None = None
        self._titles, self._across = QWidget(), QHBoxLayout()
        self._asked: Asked | None = None
        self._lay_out()
        self.next.clicked.connect(self.next_wanted)
        self.more.toggled.connect(lambda: self.show_sheet(self._sheet, self._asked))

    def show_sheet(self, sheet: SheetState, asked: Asked | None) -> None:
        """Show a sheet; `asked` is the reading that is being drawn."""
        self._sheet, self._asked = sheet, asked
        rows = self._rows(sheet)
        self._build(rows, sheet.columns)
        for head, column in zip(self.heads, sheet.columns, strict=True):
            _show_head(head, column)
        for at, row in enumerate(sheet.rows):
            for place, cell in enumerate(row.cells):
                button = self.cells.get((row.quantity, place))
                if button is not None:
                    armed = _armed(asked, row.quantity, sheet.columns[place])
                    button.show_cell(cell, offered=sheet.offered == (at, place), armed=armed)
        self._show_words(sheet, rows)
        self._bring_into_sight(sheet)

    def _bring_into_sight(self, sheet: SheetState) -> None:
        """Scroll across to the cell in hand, else to the one offered, when it is another one."""
        armed = next((key for key, cell in self.cells.items() if cell.armed), None)
        offered = sheet.next_cell
        wanted = armed or (None if offered is None else (offered.quantity, offered.view))
        if wanted is not None and wanted != self._in_sight and wanted in self.cells:
            self._in_sight = wanted
            self._area.ensureWidgetVisible(self.cells[wanted], 20, 0)

    def _rows(self, sheet: SheetState) -> list[SheetRow]:
        """Return the rows on show: what is required or read, and on demand the others."""
        if self.more.isChecked():
            return list(sheet.rows)
        read = {row.quantity for row in sheet.rows if any(cell.filled for cell in row.cells)}
        return [row for row in sheet.rows if row.required or row.quantity in read]

    def _show_words(self, sheet: SheetState, rows: list[SheetRow]) -> None:
        cell = sheet.next_cell
        self.next.setEnabled(cell is not None)
        self.next.setText("Read next" if cell is None else f"Next: {cell.title.lower()}")
        if not sheet.columns:
            words = NO_LOOPS
        elif sheet.owed:
            words = f"{sheet.protocol}: {sheet.owed} readings owed here"
        else:
            words = f"{sheet.protocol}: nothing owed here"
        self.state.setText(words)
        self.absent.setText(f"Not at hand: {', '.join(sheet.absent)}")
        self.absent.setVisible(bool(sheet.absent) and bool(sheet.columns))
        self.more.setVisible(bool(sheet.columns))
        self.more.setText(LESS if self.more.isChecked() else MORE)
        names = {name for row in rows for one in row.cells for name, _ in one.shares}
        self.legend.show_names(tuple(name for name in COMPONENT_WORDS if name in names))

    def _build(self, rows: list[SheetRow], columns: tuple[ViewColumn, ...]) -> None:
        """Make the grid anew where rows or columns came or went."""
        wanted = (tuple(row.quantity for row in rows), len(columns))
        if wanted == self._grid_of:
            return
        self._grid_of = wanted
        area, grid = _grid()
        self.cells, self.heads = {}, [QPushButton() for _ in columns]
        head_height = 2 * self.fontMetrics().lineSpacing() + 10
        for at, head in enumerate(self.heads):
            head.setFixedHeight(head_height)
            head.clicked.connect(lambda _=False, at=at: self._on_head(at))
            grid.addWidget(head, 0, at)
        for line, row in enumerate(rows, start=1):
            for at in range(len(columns)):
                grid.addWidget(self._new_cell(row.quantity, at), line, at)
        grid.setColumnStretch(len(columns), 1)
        self._show_titles(rows, head_height)
        self._in_sight = None
        self._area.setWidget(area)
        area.show()
        self._area.fit()

    def _new_cell(self, quantity: str, view: int) -> SheetCell:
        cell = SheetCell()
        cell.setFixedHeight(cell.sizeHint().height())
        cell.wanted.connect(self.cell_wanted)
        cell.repeat_wanted.connect(self.repeat_wanted)
        self.cells[quantity, view] = cell
        return cell

    def _show_titles(self, rows: list[SheetRow], head_height: int) -> None:
        """Put the rows' titles beside the cells, where they stay while views scroll across."""
        titles, grid = _grid()
        grid.setRowMinimumHeight(0, head_height)
        height = SheetCell().sizeHint().height()
        for line, row in enumerate(rows, start=1):
            title = _title(row)
            title.setFixedHeight(height)
            grid.addWidget(title, line, 0)
        grid.setRowStretch(len(rows) + 1, 1)
        self._across.replaceWidget(self._titles, titles)
        self._titles.hide()
        self._titles.deleteLater()
        self._titles = titles
        titles.show()

    def _on_head(self, at: int) -> None:
        self.view_wanted.emit(self._sheet.columns[at].file)

    def _lay_out(self) -> None:
        self._area = _Across()
        self._across.setContentsMargins(0, 0, 0, 0)
        self._across.setSpacing(3)
        self._across.addWidget(self._titles, 0, Qt.AlignmentFlag.AlignTop)
        self._across.addWidget(self._area, 1)
        for label in (self.absent, self.state):
            label.setWordWrap(True)
            label.setMinimumWidth(1)
        layout = QVBoxLayout(self)
        layout.setContentsMargins(4, 6, 4, 6)
        layout.setSpacing(5)
        layout.addWidget(self.state)
        layout.addWidget(side_by_side(self.next, self.more))
        layout.addLayout(self._across)
        layout.addWidget(self.legend)
        layout.addWidget(self.absent)
        layout.addWidget(self.follows)
        layout.addStretch(1)


class _Across(QScrollArea):
    """Shows the grid in its full height and scrolls across where views are many."""

    def __init__(self) -> None:
        super().__init__()
        self.setWidgetResizable(True)
        self.setFrameShape(QScrollArea.Shape.NoFrame)
        self.setVerticalScrollBarPolicy(Qt.ScrollBarPolicy.ScrollBarAlwaysOff)
        self.setSizePolicy(QSizePolicy.Policy.Expanding, QSizePolicy.Policy.Fixed)

    def fit(self) -> None:
        """Ask for the grid's height anew."""
        self.updateGeometry()

    def sizeHint(self) -> QSize:  # noqa: N802  # Qt's name
        """Ask for the height of the grid and of the bar that scrolls it."""
        grid = self.widget()
        height = grid.sizeHint().height() if grid is not None else 0
        return QSize(200, height + self.horizontalScrollBar().sizeHint().height() + 2)

    def minimumSizeHint(self) -> QSize:  # noqa: N802  # Qt's name
        """Keep the height, give way in width."""
        return QSize(120, self.sizeHint().height())


class Legend(QWidget):
    """Says which pattern of a bar stands for what."""

    def __init__(self) -> None:
        super().__init__()
        self._names: tuple[str, ...] = ()

    def show_names(self, names: tuple[str, ...]) -> None:
        """Show these components."""
        self.setVisible(bool(names))
        if names != self._names:
            self._names = names
            self.updateGeometry()
            self.update()

    def sizeHint(self) -> QSize:  # noqa: N802  # Qt's name
        """Ask for as many lines as the words take."""
        return QSize(200, self.heightForWidth(max(self.width(), 200)))

    def hasHeightForWidth(self) -> bool:  # noqa: N802  # Qt's name
        """Wrap words."""
        return True

    def heightForWidth(self, width: int) -> int:  # noqa: N802  # Qt's name
        """Return the height of the words in a width."""
        places = self._places(width)
        line = self.fontMetrics().lineSpacing()
        return (max((top for _, _, top in places), default=0) + 1) * line + 2

    def paintEvent(self, event: QPaintEvent) -> None:  # noqa: N802  # Qt's name
        """Paint a piece of each bar with its word."""
        del event
        painter = QPainter(self)
        line = self.fontMetrics().lineSpacing()
        for name, left, row in self._places(self.width()):
            top = row * line
            named = name in COMPONENT_WORDS
            if named:
                paint_bar(painter, QRectF(left, top + line / 2 - 3, 16, 6), ((name, 1.0),))
            painter.setPen(self.palette().windowText().color())
            base = top + self.fontMetrics().ascent() + 1
            painter.drawText(left + (20 if named else 0), base, COMPONENT_WORDS.get(name, name))
        painter.end()

    def _places(self, width: int) -> list[tuple[str, int, int]]:
        """Return each word with its left side and its line."""
        letters = self.fontMetrics()
        left, row, places = 0, 0, []
        for name in ("Variance:", *self._names):
            words = COMPONENT_WORDS.get(name, name)
            room = letters.horizontalAdvance(words) + (34 if name in COMPONENT_WORDS else 8)
            if left and left + room > width:
                left, row = 0, row + 1
            places.append((name, left, row))
            left += room
        return places


def _grid() -> tuple[QWidget, QGridLayout]:
    area = QWidget()
    grid = QGridLayout(area)
    grid.setContentsMargins(0, 0, 0, 0)
    grid.setSpacing(3)
    return area, grid


def _armed(asked: Asked | None, quantity: str, column: ViewColumn) -> bool:
    """Whether a cell's caliper is in hand."""
    return asked is not None and asked.quantity == quantity and asked.file in column.files


def _title(row: SheetRow) -> QLabel:
    unit = f", {row.unit}" if row.unit else ""
    title = QLabel(f"{row.title}{unit}")
    title.setWordWrap(True)
    title.setFixedWidth(92)
    title.setStyleSheet(f"border-left: 4px solid {row.colour}; padding-left: 5px;")
    key = f"\nKey: {row.key_words}" if row.key_words else ""
    title.setToolTip(f"{row.meaning}{key}")
    return title


def _show_head(head: QPushButton, column: ViewColumn) -> None:
    angle = column.sign or column.angle
    here = "● " if column.here else ""
    head.setText(f"{here}{column.title}\n{angle}")
    head.setCheckable(True)
    head.setChecked(column.here)
    asked = "" if column.asked else "\nThe protocol does not know this view."
    plane = "\nState the echo plane under Read." if column.sign else ""
    names = "\n".join(column.names)
    head.setToolTip(f"{names}{asked}{plane}".strip())
