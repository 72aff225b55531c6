"""A cell of the sheet: a button that shows a value, what it is made of, and what is owed."""

from qtpy.QtCore import QPointF, QRect, QRectF, QSize, Qt, Signal
from qtpy.QtGui import QBrush, QColor, QMouseEvent, QPainter, QPaintEvent, QPen
from qtpy.QtWidgets import QPushButton, QWidget

from napari_annot.sheet import COMPONENT_WORDS
from napari_annot.sheet_state import Cell, Mark, Shares
from napari_annot.wording import PROVISIONAL_SIGN

# Okabe and Ito's colours, each with a pattern of its own: never told by colour alone
BAR: dict[str, tuple[str, Qt.BrushStyle]] = {
    "scale": ("#CC79A7", Qt.BrushStyle.SolidPattern),
    "object": ("#E69F00", Qt.BrushStyle.Dense4Pattern),
    "system": ("#D55E00", Qt.BrushStyle.Dense3Pattern),
    "ends": ("#56B4E9", Qt.BrushStyle.SolidPattern),
    "depth": ("#009E73", Qt.BrushStyle.Dense2Pattern),
    "tilt": ("#F0E442", Qt.BrushStyle.Dense4Pattern),
    "other": ("#999999", Qt.BrushStyle.Dense5Pattern),
}
NEXT, DRAWING, ASKED, UNASKED = "read next", "2 clicks …", "to read", "·"
PAD, BAR_HEIGHT, MARK = 6, 5, 10
LINES = 3
WIDEST = "⚠ to confirm ○○"


class SheetCell(QPushButton):
    """Shows one cell; emits what a click on it, or on one of its marks, means."""

    wanted = Signal(str, int)
    repeat_wanted = Signal(str, int, int)

    def __init__(self, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self._cell = Cell(quantity="", view=0, title="")
        self._offered = self._armed = False
        self.setFocusPolicy(Qt.FocusPolicy.TabFocus)
        self.clicked.connect(lambda: self.wanted.emit(self._cell.quantity, self._cell.view))

    @property
    def cell(self) -> Cell:
        """What is shown."""
        return self._cell

    @property
    def armed(self) -> bool:
        """Whether its caliper is in hand."""
        return self._armed

    @property
    def lines(self) -> tuple[str, str, str]:
        """The words of the cell, from top to bottom."""
        cell = self._cell
        if self._armed:
            return (DRAWING, cell.value, cell.word)
        if cell.filled:
            sign = PROVISIONAL_SIGN if cell.provisional else ""
            unit = "" if cell.unit in ("", "mm", "mm²", "°") else f" {cell.unit}"
            return (f"{sign}{cell.value}{unit}", cell.interval, f"{cell.sign} {cell.word}".strip())
        if self._offered:
            return ("▸", NEXT, "")
        return ("", ASKED if cell.wanted and cell.drawable else UNASKED, "")

    def show_cell(self, cell: Cell, *, offered: bool, armed: bool) -> None:
        """Show a cell; the one to be read next and the one being drawn are marked."""
        if (cell, offered, armed) == (self._cell, self._offered, self._armed):
            return
        self._cell, self._offered, self._armed = cell, offered, armed
        self.setToolTip(_tip(cell))
        self.setAccessibleName(f"{cell.title}: {' '.join(self.lines).strip()}")
        self.updateGeometry()
        self.update()

    def sizeHint(self) -> QSize:  # noqa: N802  # Qt's name
        """Ask for three lines and the bar, as wide as the words."""
        letters = self.fontMetrics()
        words = max([WIDEST, *self.lines], key=letters.horizontalAdvance)
        height = LINES * letters.lineSpacing() + BAR_HEIGHT + 2 * PAD
        return QSize(letters.horizontalAdvance(words) + 2 * PAD, height)

    def minimumSizeHint(self) -> QSize:  # noqa: N802  # Qt's name
        """Never less than the words."""
        return self.sizeHint()

    def mark_place(self, repeat: int) -> QRect:
        """Return where the mark of a repeat stands."""
        step = MARK + 3
        top = PAD + 2 * self.fontMetrics().lineSpacing()
        return QRect(PAD + (repeat - 1) * step, top, step, self.fontMetrics().lineSpacing())

    def mouseReleaseEvent(self, event: QMouseEvent) -> None:  # noqa: N802  # Qt's name
        """Tell a click on a mark from one on the cell."""
        place = event.position().toPoint()
        hit = next((m for m in self._cell.marks if self.mark_place(m.repeat).contains(place)), None)
        if hit is not None and self.isDown() and len(self._cell.marks) > 1:
            self.setDown(False)
            self.repeat_wanted.emit(self._cell.quantity, self._cell.view, hit.repeat)
            return
        super().mouseReleaseEvent(event)

    def paintEvent(self, event: QPaintEvent) -> None:  # noqa: N802  # Qt's name
        """Paint words, marks and bar on the button."""
        super().paintEvent(event)
        painter = QPainter(self)
        painter.setRenderHint(QPainter.RenderHint.Antialiasing)
        ink = self.palette().buttonText().color()
        self._paint_words(painter, ink)
        for mark in self._cell.marks:
            self._paint_mark(painter, mark, ink)
        if self._cell.shares:
            paint_bar(painter, self._bar_place(), self._cell.shares)
        if self._offered or self._armed:
            style = Qt.PenStyle.SolidLine if self._armed else Qt.PenStyle.DashLine
            painter.setPen(QPen(QColor("#F0E442") if ink.lightness() > 127 else ink, 2, style))
            painter.setBrush(Qt.BrushStyle.NoBrush)
            painter.drawRoundedRect(self.rect().adjusted(1, 1, -2, -2), 3, 3)
        painter.end()

    def _bar_place(self) -> QRectF:
        return QRectF(PAD, self.height() - PAD - BAR_HEIGHT + 2, self.width() - 2 * PAD, BAR_HEIGHT)

    def _paint_words(self, painter: QPainter, ink: QColor) -> None:
        faint = QColor(ink)
        faint.setAlpha(150)
        line = self.fontMetrics().lineSpacing()
        marks = (MARK + 3) * len(self._cell.marks)
        bold = painter.font()
        bold.setBold(True)
        for at, words in enumerate(self.lines):
            left = PAD + (marks + 4 if at == LINES - 1 else 0)
            room = QRect(left, PAD + at * line, self.width() - left - PAD, line)
            plain = painter.font()
            if at == 0:
                painter.setFont(bold)
            painter.setPen(ink if self._cell.filled or self._offered or self._armed else faint)
            painter.drawText(
                room, Qt.AlignmentFlag.AlignRight | Qt.AlignmentFlag.AlignVCenter, words
            )
            painter.setFont(plain)

    def _paint_mark(self, painter: QPainter, mark: Mark, ink: QColor) -> None:
        """Paint a disc for a repeat that is read and a ring for one that is owed."""
        room = self.mark_place(mark.repeat)
        middle = QPointF(room.left() + MARK / 2, room.center().y() + 0.5)
        painter.setPen(QPen(ink, 1.2))
        painter.setBrush(QBrush(ink) if mark.read else Qt.BrushStyle.NoBrush)
        painter.drawEllipse(middle, MARK / 2 - 1.5, MARK / 2 - 1.5)
        if mark.read and mark.key == self._cell.key and len(self._cell.marks) > 1:
            painter.drawLine(
                QPointF(middle.x() - 4, room.bottom()), QPointF(middle.x() + 4, room.bottom())
            )


def paint_bar(painter: QPainter, room: QRectF, shares: Shares) -> None:
    """Paint what a variance is made of, from left to right the largest first."""
    total = sum(share for _, share in shares)
    left = room.left()
    painter.setPen(Qt.PenStyle.NoPen)
    for name, share in shares:
        colour, pattern = BAR[name]
        width = room.width() * share / total
        painter.setBrush(QBrush(QColor(colour), pattern))
        painter.drawRect(QRectF(left, room.top(), max(width - 1, 0.5), room.height()))
        left += width


def _tip(cell: Cell) -> str:
    lines = [cell.title]
    if cell.filled and not cell.interval:
        lines.append(cell.value)
    elif cell.filled:
        lines.append(f"{cell.value} {cell.unit} (value ± standard uncertainty)")
        lines.append(f"95 % interval {cell.interval} {cell.unit}")
    if cell.shares:
        parts = (f"{COMPONENT_WORDS[name]} {100 * share:.0f} %" for name, share in cell.shares)
        lines.append(f"Variance: {', '.join(parts)}")
    read = sum(mark.read for mark in cell.marks)
    if cell.marks:
        lines.append(f"{read} of {len(cell.marks)} readings; click a ring to read it")
    return "\n".join([*lines, *(f"• {one}" for one in cell.why)])
