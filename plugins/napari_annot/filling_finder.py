"""Looks through X-ray loops for contrast, in a thread, while nobody waits for it."""

from concurrent.futures import Future, ThreadPoolExecutor
from functools import partial
from threading import Event

from qtpy.QtCore import QObject, QTimer, Signal

from annot.errors import AnnotError
from annot.tasks.filling import FillingCurve, contrast_over_loop
from napari_annot.desk import Desk

# the first picture comes first
PATIENCE_MS = 400


class _Stopped(Exception):  # noqa: N818  # no error: the window closes
    """Nobody wants the answer any more."""


class FillingFinder(QObject):
    """Works out the contrast of each X-ray loop once it has been on show for a moment."""

    found = Signal(str)
    _done = Signal(str, object)

    def __init__(self, desk: Desk) -> None:
        super().__init__()
        self._desk = desk
        self.curves: dict[str, FillingCurve] = {}
        self._asked: set[str] = set()
        self._stop = Event()
        self._threads = ThreadPoolExecutor(max_workers=1, thread_name_prefix="filling")
        self._rest = QTimer(self)
        self._rest.setSingleShot(True)
        self._rest.setInterval(PATIENCE_MS)
        self._rest.timeout.connect(self._start)
        self._done.connect(self._keep)
        desk.changed.connect(self._follow)
        self._follow()

    def close(self) -> None:
        """End the work and wait for its thread."""
        self._stop.set()
        self._rest.stop()
        self._desk.changed.disconnect(self._follow)
        self._done.disconnect(self._keep)
        self._threads.shutdown(wait=True, cancel_futures=True)

    @property
    def curve(self) -> FillingCurve | None:
        """Of the loop on show, None if it is not known (yet)."""
        return self.curves.get(self._desk.shown or "")

    def _follow(self) -> None:
        loop, file = self._desk.loop, self._desk.shown
        self._forget_gone()
        if loop is None or file in self._asked or loop.frames < 2:
            return
        if loop.header.xray is not None and not loop.header.colour and not self._rest.isActive():
            self._rest.start()

    def _forget_gone(self) -> None:
        """Drop what is known of loops that another read has put off the desk."""
        for file in self._asked - self._desk.loops.keys():
            self._asked.discard(file)
            self.curves.pop(file, None)

    def _start(self) -> None:
        loop, file = self._desk.loop, self._desk.shown
        if loop is None or file is None or file in self._asked or loop.header.xray is None:
            return
        self._asked.add(file)
        future = self._threads.submit(
            contrast_over_loop, loop, on_frame=partial(_go_on, self._stop)
        )
        future.add_done_callback(partial(self._finished, file))

    def _finished(self, file: str, future: Future[FillingCurve]) -> None:
        """Send the curve to the screen's thread (runs in the finder's thread)."""
        if future.cancelled() or self._stop.is_set():
            return
        fault = future.exception()
        # a frame that cannot be decoded is told where it is shown; here it only ends the search
        reason = fault.message if isinstance(fault, AnnotError) else str(fault)
        curve = FillingCurve(darkening=(), best_frame=None, reason=reason) if fault else None
        self._done.emit(file, curve or future.result())

    def _keep(self, file: str, curve: FillingCurve) -> None:
        if file in self._desk.loops:
            self.curves[file] = curve
            self._desk.suggest(file, curve.best_frame)
            self.found.emit(file)


def _go_on(stop: Event, _: int) -> None:
    if stop.is_set():
        raise _Stopped
