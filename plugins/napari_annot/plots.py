"""A pane of the bench that shows a plot, drawn off the screen thread to the pane's own size."""

from concurrent.futures import Future, ThreadPoolExecutor
from functools import partial

from qtpy.QtCore import QObject, QSize, Qt, QTimer, Signal
from qtpy.QtGui import QPixmap, QResizeEvent, QShowEvent
from qtpy.QtWidgets import QLabel, QScrollArea, QVBoxLayout, QWidget

from annot.errors import AnnotError
from annot.tasks.plots import Paper, PlotKind, plot_of
from napari_annot.desk import Desk

REST_MS = 150
NOTHING = "Nothing is measured yet."
MOST_PX = 4000


class PlotPane(QWidget):
    """Shows one plot; asks for it anew when its size changes or it comes on show."""

    wanted = Signal()

    def __init__(self, kind: PlotKind) -> None:
        super().__init__()
        self.kind = kind
        self.picture = QLabel(NOTHING)
        self.picture.setAlignment(Qt.AlignmentFlag.AlignLeft | Qt.AlignmentFlag.AlignTop)
        self.picture.setWordWrap(True)
        self._area = QScrollArea()
        self._area.setWidgetResizable(True)
        self._area.setFrameShape(QScrollArea.Shape.NoFrame)
        self._area.setHorizontalScrollBarPolicy(Qt.ScrollBarPolicy.ScrollBarAlwaysOff)
        self._area.setWidget(self.picture)
        layout = QVBoxLayout(self)
        layout.setContentsMargins(0, 0, 0, 0)
        layout.addWidget(self._area)

    @property
    def room(self) -> QSize:
        """The size that a plot should have."""
        bar = self._area.verticalScrollBar().sizeHint().width()
        return QSize(self._area.width() - bar - 4, self._area.height() - 4)

    def show_plot(self, plot: bytes | str) -> None:
        """Show a plot, or the sentence that stands for it."""
        if isinstance(plot, str):
            self.picture.setText(plot)
            return
        picture = QPixmap()
        picture.loadFromData(plot, "PNG")
        self.picture.setPixmap(picture)

    def showEvent(self, event: QShowEvent) -> None:  # noqa: N802  # Qt's name
        """Ask for the plot when it comes on show."""
        super().showEvent(event)
        self.wanted.emit()

    def resizeEvent(self, event: QResizeEvent) -> None:  # noqa: N802  # Qt's name
        """Ask for the plot in the new size."""
        super().resizeEvent(event)
        self.wanted.emit()


class Plotter(QObject):
    """Draws the plot on show; one that nobody wants any more is not begun."""

    done = Signal(object, object, object)

    def __init__(self, desk: Desk, panes: tuple[PlotPane, ...]) -> None:
        super().__init__()
        self._desk, self._panes = desk, panes
        self._threads = ThreadPoolExecutor(max_workers=1, thread_name_prefix="plots")
        self._waiting: Future[bytes | str] | None = None
        self._drawn: dict[PlotKind, object] = {}
        self.dark = True
        self._rest = QTimer()
        self._rest.setSingleShot(True)
        self._rest.setInterval(REST_MS)
        self._rest.timeout.connect(self._start)
        self.done.connect(self._hand_over)
        desk.changed.connect(self.ask)
        for pane in panes:
            pane.wanted.connect(self.ask)

    @property
    def busy(self) -> bool:
        """Whether a plot is still to come."""
        return self._rest.isActive() or (self._waiting is not None and not self._waiting.done())

    def ask(self) -> None:
        """Draw the plot on show once things have come to rest, if it is another one by now."""
        pane = self._on_show()
        if pane is not None and self._key(pane) != self._drawn.get(pane.kind):
            self._rest.start()

    def use_theme(self, *, dark: bool) -> None:
        """Draw on a dark or a light ground."""
        self.dark = dark
        self.ask()

    def close(self) -> None:
        """Give up what has not begun and wait for what has."""
        self._rest.stop()
        self._desk.changed.disconnect(self.ask)
        self.done.disconnect(self._hand_over)
        self._threads.shutdown(wait=True, cancel_futures=True)

    def _on_show(self) -> PlotPane | None:
        return next((pane for pane in self._panes if pane.isVisible()), None)

    def _key(self, pane: PlotPane) -> object:
        desk, room = self._desk, pane.room
        return (id(desk.findings), desk.selected, room.width(), room.height(), self.dark)

    def _start(self) -> None:
        pane, findings = self._on_show(), self._desk.findings
        if pane is None:
            return
        key = self._drawn[pane.kind] = self._key(pane)
        if findings is None or not findings.entries:
            pane.show_plot(NOTHING)
            return
        if self._waiting is not None:
            self._waiting.cancel()
        paper = Paper(
            width_px=min(pane.room.width(), MOST_PX),
            height_px=min(pane.room.height(), MOST_PX),
            dark=self.dark,
        )
        self._waiting = self._threads.submit(
            plot_of, pane.kind, findings, selected=self._desk.selected, paper=paper
        )
        self._waiting.add_done_callback(partial(self._finished, pane.kind, key))

    def _finished(self, kind: PlotKind, key: object, future: Future[bytes | str]) -> None:
        """Send the plot to the screen's thread (runs in the plotter's thread)."""
        if future.cancelled():
            return
        fault = future.exception()
        if fault is None:
            self.done.emit(kind, key, future.result())
        else:
            words = fault.message if isinstance(fault, AnnotError) else f"({type(fault).__name__})"
            self.done.emit(kind, key, f"This plot cannot be drawn: {words}")

    def _hand_over(self, kind: PlotKind, key: object, plot: bytes | str) -> None:
        if self._drawn.get(kind) == key:
            next(pane for pane in self._panes if pane.kind == kind).show_plot(plot)
