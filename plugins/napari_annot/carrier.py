"""Calipers carried through their loops in a thread of their own, with progress and a way out."""

from concurrent.futures import Future, ThreadPoolExecutor
from functools import partial
from threading import Event

from qtpy.QtCore import QObject, Signal

from annot.errors import AnnotError
from annot.measurement import Caliper
from annot.measurement.track import Track
from annot.tasks.track import follow_caliper
from napari_annot.desk import Desk


class _Stopped(Exception):  # noqa: N818  # no error: a person's wish
    """The carrying is not wanted any more."""


class Carrier(QObject):
    """Follows one caliper at a time; a newer wish or a stop ends the older one."""

    looked = Signal(int)
    done = Signal(str, object, object)

    def __init__(self, desk: Desk) -> None:
        super().__init__()
        self._desk = desk
        self._threads = ThreadPoolExecutor(max_workers=1, thread_name_prefix="carrier")
        self._stop = Event()
        self.looked.connect(self._desk.carrying_has_come)
        self.done.connect(self._hand_over)
        desk.carry_wanted.connect(self._start)
        desk.carry_ended.connect(self._end)

    def close(self) -> None:
        """End the work and wait for its thread."""
        self._end()
        self._desk.carry_wanted.disconnect(self._start)
        self._desk.carry_ended.disconnect(self._end)
        self.looked.disconnect()
        self.done.disconnect()
        self._threads.shutdown(wait=True, cancel_futures=True)

    def _end(self) -> None:
        self._stop.set()

    def _start(self, file: str, caliper: Caliper) -> None:
        self._stop.set()
        self._stop = stop = Event()
        seen: set[int] = set()

        def on_frame(number: int) -> None:
            """Count a frame (runs in the carrier's thread)."""
            if stop.is_set():
                raise _Stopped
            if number not in seen:
                seen.add(number)
                self.looked.emit(len(seen))

        loop = self._desk.loops[file]
        future = self._threads.submit(follow_caliper, loop, caliper, on_frame=on_frame)
        future.add_done_callback(partial(self._finished, file, caliper))

    def _finished(self, file: str, caliper: Caliper, future: Future[Track]) -> None:
        """Send the answer to the screen's thread (runs in the carrier's thread)."""
        if future.cancelled():
            return
        fault = future.exception()
        if isinstance(fault, _Stopped):
            return
        answer: Track | AnnotError
        if fault is None:
            answer = future.result()
        elif isinstance(fault, AnnotError):
            answer = fault
        else:
            answer = AnnotError(
                f"Caliper {caliper.key} could not be carried ({type(fault).__name__}: {fault}): "
                "draw it on the frames that count."
            )
        self.done.emit(file, caliper, answer)

    def _hand_over(self, file: str, caliper: Caliper, answer: Track | AnnotError) -> None:
        self._desk.take_track(file, caliper, answer)
