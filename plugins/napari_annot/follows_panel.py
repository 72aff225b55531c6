"""Below the grid: cross-sections, rows of the size chart, and handing the read over."""

from collections.abc import Sequence

from qtpy.QtCore import Qt, Signal
from qtpy.QtWidgets import QGridLayout, QLabel, QPushButton, QVBoxLayout, QWidget

from napari_annot.entry_fields import ALL, side_by_side
from napari_annot.follows_state import (
    DIAMETERS,
    NO_ADVICE,
    Follows,
    Pair,
    SectionLine,
    SizeBlock,
    SizeLine,
)
from napari_annot.visible import EVERYTHING, Visible
from napari_annot.wording import joined

WORKING = "Working out what follows …"
NO_SECTION = "Cross-section: needs widths in mm; an ellipse needs three angles of one modality."
NO_CHART = "Sizes: choose your own size chart (CSV)."
SIZE_HEADS = ("Row of chart", "probability", "compression\n%", "depth left\nmm")
LEFT, RIGHT = Qt.AlignmentFlag.AlignLeft, Qt.AlignmentFlag.AlignRight


class FollowsPanel(QWidget):
    """Shows what follows from the grid; emits what a person asks for."""

    chart_wanted = Signal()
    save_wanted = Signal()
    export_wanted = Signal()

    def __init__(self) -> None:
        super().__init__()
        self.sections, self.sizes = QWidget(), QWidget()
        self.chart = QPushButton("Size chart …")
        self.save, self.export = QPushButton("Save read …"), QPushButton("Export table …")
        self.working, self.advice, self.owed = QLabel(WORKING), QLabel(NO_ADVICE), QLabel()
        self._shown: tuple[Follows, str] | None = None
        self._visible = EVERYTHING
        for label in (self.advice, self.owed):
            label.setWordWrap(True)
            label.setMinimumWidth(1)
        self._layout = QVBoxLayout(self)
        self._layout.setContentsMargins(0, 0, 0, 0)
        self._layout.setSpacing(5)
        for part in (self.sections, self.sizes, self.advice, self.working, self.chart):
            self._layout.addWidget(part)
        self._files = side_by_side(self.save, self.export, stretch=ALL)
        self._layout.addWidget(self._files)
        self._layout.addWidget(self.owed)
        self.chart.clicked.connect(self.chart_wanted)
        self.save.clicked.connect(self.save_wanted)
        self.export.clicked.connect(self.export_wanted)

    def limit(self, visible: Visible) -> None:
        """Show no more than a blinded reader may see, and neither save nor export."""
        self._visible = visible
        self._files.hide()
        self.chart.setVisible(visible.size_rows)
        for part, shown in (
            (self.sections, visible.cross_section),
            (self.sizes, visible.size_rows),
        ):
            if not shown:
                part.hide()

    def show_follows(self, follows: Follows, chart_name: str) -> None:
        """Show what follows, and which chart it is set against."""
        self.working.setVisible(not follows.current)
        if (follows, chart_name) == self._shown:
            return
        self._shown = (follows, chart_name)
        if self._visible.cross_section:
            self.sections = self._replaced(self.sections, _sections(follows.sections))
        if self._visible.size_rows:
            self.sizes = self._replaced(self.sizes, _sizes(follows, chart_name))
        self.advice.setVisible(bool(follows.sizes))
        self.chart.setToolTip(f"In use: {chart_name}" if chart_name else NO_CHART)
        self.owed.setVisible(bool(follows.owed))
        count = len(follows.owed)
        first = follows.owed[0] if follows.owed else ""
        more = f" … and {count - 1} more (point here)" if count > 1 else ""
        self.owed.setText(f"Before handing over: {first}{more}")
        self.owed.setToolTip(joined(follows.owed))

    def _replaced(self, old: QWidget, new: QWidget) -> QWidget:
        self._layout.replaceWidget(old, new)
        old.hide()
        old.deleteLater()
        new.show()
        return new


def _sections(lines: Sequence[SectionLine]) -> QWidget:
    grid, area = _grid()
    if not lines:
        _span(grid, 0, NO_SECTION)
        return area
    _span(grid, 0, "Cross-sections, mm", bold=True)
    if any(line.diameters for line in lines):
        for at, words in enumerate(DIAMETERS.values()):
            _put(grid, (1, at), words, side=RIGHT)
    for row, line in enumerate(lines, start=1):
        sign = "⚠ " if line.warnings or line.why_not else ""
        why = f": {line.why_not}" if line.why_not else ""
        _span(grid, 2 * row, f"{sign}{line.title}{why}", tip=joined(line.warnings))
        for at, pair in enumerate(line.diameters):
            _put(grid, (2 * row + 1, at), _words(pair), side=RIGHT)
    return area


def _sizes(follows: Follows, chart_name: str) -> QWidget:
    grid, area = _grid()
    if not chart_name or not follows.sizes:
        _span(grid, 0, follows.why_no_sizes or ("" if chart_name else NO_CHART))
        return area
    row = 0
    for block in follows.sizes:
        row = _size_block(grid, block, row)
    return area


def _size_block(grid: QGridLayout, block: SizeBlock, row: int) -> int:
    sign = "⚠ " if block.warnings else ""
    _span(grid, row, f"{sign}{block.title}", tip=joined(block.warnings), bold=True)
    for at, words in enumerate(SIZE_HEADS):
        _put(grid, (row + 1, at), words, side=LEFT if at == 0 else RIGHT)
    for line in block.lines:
        _size_line(grid, line, row + 2)
        row += 1
    return row + 2


def _size_line(grid: QGridLayout, line: SizeLine, row: int) -> None:
    sign = "⚠ " if line.warnings else ""
    cells = (f"{sign}{line.label}", line.probability, _words(line.compression), _words(line.depth))
    for at, words in enumerate(cells):
        label = _put(grid, (row, at), words, side=LEFT if at == 0 else RIGHT)
        label.setToolTip(joined(line.warnings))


def _words(pair: Pair) -> str:
    return f"{pair.value}\n{pair.interval}" if pair.interval else pair.value


def _grid() -> tuple[QGridLayout, QWidget]:
    area = QWidget()
    grid = QGridLayout(area)
    grid.setContentsMargins(0, 0, 0, 0)
    grid.setHorizontalSpacing(4)
    for column in range(len(DIAMETERS)):
        grid.setColumnStretch(column, 1)
    grid.setVerticalSpacing(3)
    return grid, area


def _put(
    grid: QGridLayout,
    place: tuple[int, int],
    words: str,
    *,
    side: Qt.AlignmentFlag = LEFT,
    bold: bool = False,
) -> QLabel:
    label = QLabel(words)
    label.setAlignment(side)
    if bold:
        label.setStyleSheet("font-weight: bold;")
    grid.addWidget(label, place[0], place[1], side | Qt.AlignmentFlag.AlignTop)
    return label


def _span(grid: QGridLayout, row: int, words: str, *, tip: str = "", bold: bool = False) -> None:
    label = QLabel(words)
    label.setWordWrap(True)
    label.setMinimumWidth(1)  # else Qt asks for the width in which a long text looks well
    label.setToolTip(tip)
    if bold:
        label.setStyleSheet("font-weight: bold;")
    label.setVisible(bool(words))
    grid.addWidget(label, row, 0, 1, len(DIAMETERS))
