"""Fits off the screen thread: one at a time, answers handed back to the screen's own thread."""

from concurrent.futures import Future, ThreadPoolExecutor
from functools import partial

from qtpy.QtCore import QObject, Signal

from annot.calibration import ObjectRequest
from annot.errors import AnnotError
from annot.tasks.calibrate import MadeScale, make_scale
from napari_annot.desk import Desk

Answer = MadeScale | AnnotError


class ScaleFitter(QObject):
    """Runs the fits that the desk wants; the desk drops an answer that came too late."""

    done = Signal(str, object, object)

    def __init__(self, desk: Desk) -> None:
        super().__init__()
        self._desk = desk
        self._threads = ThreadPoolExecutor(max_workers=1, thread_name_prefix="scale-fit")
        self.done.connect(self._hand_over)
        desk.fit_wanted.connect(self._start)

    def close(self) -> None:
        """Give up what has not begun and wait for what has."""
        self._desk.fit_wanted.disconnect(self._start)
        self.done.disconnect(self._hand_over)
        self._threads.shutdown(wait=True, cancel_futures=True)

    def _start(self, file: str, request: ObjectRequest) -> None:
        future = self._threads.submit(make_scale, self._desk.loops[file], request)
        future.add_done_callback(partial(self._finished, file, request))

    def _finished(self, file: str, request: ObjectRequest, future: Future[MadeScale]) -> None:
        """Send the answer to the screen's thread (runs in the fit's thread)."""
        if future.cancelled():
            return
        fault = future.exception()
        answer: Answer
        if fault is None:
            answer = future.result()
        elif isinstance(fault, AnnotError):
            answer = fault
        else:
            answer = AnnotError(
                f"The object could not be fitted ({type(fault).__name__}: {fault}): trace it again "
                "or use another object."
            )
        self.done.emit(file, request, answer)

    def _hand_over(self, file: str, request: ObjectRequest, answer: Answer) -> None:
        self._desk.take_answer(file, request, answer)
