"""Simulations off the screen thread: the answers of measurements that first order cannot give."""

from concurrent.futures import Future, ThreadPoolExecutor

from qtpy.QtCore import QObject, Signal

from annot.tasks.measure import Measurement
from napari_annot.desk import Desk


class Answerer(QObject):
    """Works out what the desk wants answered; what it does not want any more is not begun."""

    done = Signal(str)

    def __init__(self, desk: Desk) -> None:
        super().__init__()
        self._desk = desk
        self._threads = ThreadPoolExecutor(max_workers=1, thread_name_prefix="answers")
        self._waiting: list[Future[str]] = []
        self.done.connect(self._hand_over)
        desk.answers_wanted.connect(self._start)

    def close(self) -> None:
        """Give up what has not begun and wait for what has."""
        self._desk.answers_wanted.disconnect(self._start)
        self.done.disconnect(self._hand_over)
        self._threads.shutdown(wait=True, cancel_futures=True)

    def _start(self, wanted: list[Measurement]) -> None:
        for one in self._waiting:
            one.cancel()
        self._waiting = [self._threads.submit(_work_out, one) for one in wanted]
        for future in self._waiting:
            future.add_done_callback(self._finished)

    def _finished(self, future: Future[str]) -> None:
        """Tell the screen's thread (runs in the simulation's thread)."""
        if not future.cancelled():
            self.done.emit(future.result())

    def _hand_over(self, fault: str) -> None:
        if fault:
            self._desk.say(fault, fault=True)
            self._desk.changed.emit()
        self._desk.take_answers()


def _work_out(measurement: Measurement) -> str:
    """Have a measurement worked out and return what went wrong, in a sentence."""
    try:
        _ = measurement.estimate
    except ValueError as fault:
        return (
            f"Caliper {measurement.caliper.key} has no answer beyond its provisional one ({fault}):"
            " draw it again."
        )
    return ""
