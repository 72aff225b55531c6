"""The reading dock: loops, scale, the sheet, drawing, display, the read, caution, status."""

from collections.abc import Callable
from typing import Any

from qtpy.QtCore import QSize, Qt, QTimer
from qtpy.QtGui import QShowEvent
from qtpy.QtWidgets import (
    QDockWidget,
    QLabel,
    QMainWindow,
    QProgressBar,
    QTabWidget,
    QVBoxLayout,
    QWidget,
)

from annot.vocabulary import CAUTION, SCOPE_OF_INTERVAL
from napari_annot.answering import Answerer
from napari_annot.autosave import Autosave, left_behind
from napari_annot.bench import Bench, BenchPlace
from napari_annot.binding import binding_fault
from napari_annot.caliper_panel import CaliperPanel
from napari_annot.carrier import Carrier
from napari_annot.closing import ClosingGuard
from napari_annot.desk import Desk
from napari_annot.display_panel import DisplayPanel
from napari_annot.dock_acts import DockActs
from napari_annot.dock_wiring import bind_keys, connect_all
from napari_annot.finding import Finder
from napari_annot.follows_state import follows_of
from napari_annot.loops_panel import LoopsPanel
from napari_annot.loupe import Loupe
from napari_annot.plots import Plotter
from napari_annot.read_panel import ReadPanel
from napari_annot.scale_panel import ScalePanel
from napari_annot.seat_panel import SeatPanel
from napari_annot.seat_place import close_menus, shown_follows
from napari_annot.seating import Seating
from napari_annot.sheet_panel import SheetPanel
from napari_annot.stage import Stage
from napari_annot.table_panel import TablePanel
from napari_annot.tall_page import TallPage
from napari_annot.thumbnails import Thumbnails
from napari_annot.ties import Ties
from napari_annot.tips import give_tips
from napari_annot.window_parts import WindowParts
from napari_annot.workers import ScaleFitter

READ_TAB = 4
REST_MS, SETTLED_MS, LEAST_POINTS = 250, 60, 10
NARROWEST, WIDTH, WIDEST = 380, 490, 760
WIDE_SHARE = 0.28  # of a large window, so that more views stand side by side
LEFT_BEHIND = (
    "A window that is gone left unsaved work behind: take it up under Read, Take up unsaved work."
)


class MeasureDock(DockActs):
    """Shows what lies on the desk and passes on what a person asks for.

    Parameters
    ----------
    napari_viewer
        The viewer; napari hands it over because of the parameter's name.
    """

    def __init__(self, napari_viewer: Any) -> None:
        super().__init__()
        self.desk = Desk()
        self.fitter, self.answerer = ScaleFitter(self.desk), Answerer(self.desk)
        self.carrier, self.autosave = Carrier(self.desk), Autosave(self.desk)
        self.finder, self.thumbnails = Finder(self.desk), Thumbnails(self.desk)
        self._width_asked = False
        self.seating: Seating | None = None
        self.seat: SeatPanel | None = None
        self._guard = ClosingGuard(self.may_close)
        self.stage = Stage(napari_viewer, self.desk)
        self.loops, self.scale, self.display = LoopsPanel(), ScalePanel(), DisplayPanel()
        self.sheet, self.calipers, self.reading = SheetPanel(), CaliperPanel(), ReadPanel()
        self.bench = Bench()
        self.headline, self.status, self.caution = QLabel(), QLabel(), QLabel(CAUTION)
        self.progress, self.tabs = QProgressBar(), QTabWidget()
        self.parts = WindowParts(self, napari_viewer, self.desk, self.stage)
        self.loupe = Loupe(self.desk, self.stage.pictures, self)
        self.plotter = Plotter(self.desk, self.bench.panes)
        self._bench_place = BenchPlace(napari_viewer, self.bench, self.plotter)
        self._ties = Ties(
            self.desk,
            self.stage,
            (
                *(self.fitter, self.answerer, self.carrier, self.autosave, self.finder),
                *(self.thumbnails, self.parts, self._bench_place),
            ),
        )
        # by a plain object: a dying widget hears its own signal no more
        self.destroyed.connect(self._ties.cut)
        self._lay_out()
        connect_all(self)
        bind_keys(self, self.parts)
        give_tips(self)
        self._rest, self._resting = self._timer(REST_MS, self.desk.rest), self.desk.draft
        self._settled = self._timer(SETTLED_MS, self._ask_width)
        self.desk.changed.connect(self.refresh)
        self._say_what_was_found()
        self.refresh()

    @property
    def table(self) -> TablePanel:
        """The table on the bench."""
        return self.bench.table

    def turn_to(self, panel: QWidget) -> None:
        """Show the page of a panel."""
        pages = (self.sheet, self.scale, self.calipers, self.display, self.reading)
        self.tabs.setCurrentIndex(pages.index(panel))

    def sizeHint(self) -> QSize:  # noqa: N802  # Qt's name
        """Leave the picture its room, however many views the sheet has."""
        return QSize(WIDTH, super().sizeHint().height())

    def showEvent(self, event: QShowEvent) -> None:  # noqa: N802  # Qt's name
        """Watch over the window that the dock is shown in."""
        super().showEvent(event)
        self._guard.watch(self.window())
        self._bench_place.settle(self.window())
        self.parts.settle(self.window(), self.bench)
        if self.seating is not None:
            close_menus(self)
        if not self._width_asked:
            self._width_asked = True
            # the docks below know their least widths only once they are shown
            self._settled.start()

    def _ask_width(self) -> None:
        """Ask for the dock's own width once; where docks went, their room falls to those left."""
        frame, window = self.parentWidget(), self.window()
        if isinstance(window, QMainWindow) and isinstance(frame, QDockWidget):
            wide = max(WIDTH, min(round(WIDE_SHARE * window.width()), WIDEST))
            window.resizeDocks([frame], [wide], Qt.Orientation.Horizontal)
            self._bench_place.ask_height(window)

    def teardown(self) -> None:
        """Let go of viewer, desk and threads; also done when the dock is destroyed."""
        self._guard.let_go()
        self._ties.cut()

    # ---- showing

    def refresh(self) -> None:
        """Show what lies on the desk."""
        state = self.desk.state()
        if self.seating is None:
            self.loops.show_state(state)
        elif self.seat is not None:
            self.seat.show_cases(self.seating.cases())
        for panel in (
            self.display,
            self.scale,
            self.calipers,
            self.reading,
            self.bench,
        ):
            panel.show_state(state)
        self.sheet.show_sheet(self.desk.sheet(), self.desk.asked)
        follows = follows_of(self.desk.findings, current=self.desk.findings_current)
        follows = shown_follows(follows, self.desk.seat.visible)
        self.sheet.follows.show_follows(follows, self.desk.chart_name)
        self.headline.setText(state.scale.headline)
        self.tabs.setTabText(READ_TAB, "Read (unsaved)" if state.unsaved else "Read")
        self.progress.setVisible(state.scale.state == "fitting")
        self.status.setText(f"⚠ {state.message}" if state.message_is_fault else state.message)
        self.parts.keys.follow(state)
        self._wait_for_rest()

    def _say_what_was_found(self) -> None:
        """Say what is wrong with the binding, or that work was left behind."""
        fault = binding_fault()
        kept = "" if fault or not left_behind() else LEFT_BEHIND
        self.desk.say(fault or kept, fault=bool(fault or kept))
        self.reading.take_up.setVisible(bool(kept))

    # ---- putting together

    def _lay_out(self) -> None:
        self.setMinimumWidth(NARROWEST)
        self.setMaximumWidth(WIDEST)  # the picture needs the room more
        # over the viewer's own style, which has smaller letters in tables and fields
        for widget in (self, self.bench):
            widget.setStyleSheet(f"* {{ font-size: {LEAST_POINTS}pt; }}")
        bold = self.headline.font()
        bold.setBold(True)
        self.headline.setFont(bold)
        for label in (self.headline, self.status, self.caution):
            label.setWordWrap(True)
        self.caution.setToolTip(SCOPE_OF_INTERVAL)
        self.progress.setRange(0, 0)
        self.progress.setFixedHeight(6)
        self.progress.setTextVisible(False)
        for page, title in (
            (self.sheet, "Sheet"),
            (self.scale, "Scale"),
            (self.calipers, "Calipers"),
            (self.display, "Display"),
            (self.reading, "Read"),
        ):
            self.tabs.addTab(page if page is self.scale else TallPage(page), title)
        layout = QVBoxLayout(self)
        layout.setContentsMargins(8, 6, 8, 6)
        layout.setSpacing(6)
        for part in (self.loops, self.headline, self.progress):
            layout.addWidget(part)
        layout.addWidget(self.tabs, 1)
        layout.addWidget(self.status)
        layout.addWidget(self.caution)

    def _timer(self, after_ms: int, done: Callable[[], object]) -> QTimer:
        """Return what does something once, when nothing has happened for a moment."""
        timer = QTimer(self)
        timer.setSingleShot(True)
        timer.setInterval(after_ms)
        timer.timeout.connect(done)
        return timer

    def _wait_for_rest(self) -> None:
        if self.desk.draft is None:
            self._rest.stop()
        elif self.desk.draft is not self._resting:
            self._rest.start()
        self._resting = self.desk.draft
