"""Small pictures of the loops, made off the screen thread."""

from concurrent.futures import Future, ThreadPoolExecutor
from functools import partial

import numpy as np
from numpy.typing import NDArray
from qtpy.QtCore import QObject, Signal

from annot.errors import AnnotError
from annot.tasks.open import Loop, ShownLoop
from napari_annot.desk import Desk
from napari_annot.display_state import AS_THE_FILE_ASKS

SIDE = 56
Bytes = NDArray[np.uint8]


class Thumbnails(QObject):
    """Makes one small picture of every loop on the desk."""

    made = Signal(str, object)

    def __init__(self, desk: Desk) -> None:
        super().__init__()
        self._desk = desk
        self._threads = ThreadPoolExecutor(max_workers=1, thread_name_prefix="thumbnails")
        self._asked: set[str] = set()
        desk.changed.connect(self._follow)

    def close(self) -> None:
        """Give up what has not begun and wait for what has."""
        self._desk.changed.disconnect(self._follow)
        self.made.disconnect()
        self._threads.shutdown(wait=True, cancel_futures=True)

    def _follow(self) -> None:
        for file, loop in self._desk.loops.items():
            if file not in self._asked:
                self._asked.add(file)
                future = self._threads.submit(thumbnail_of, loop)
                future.add_done_callback(partial(self._finished, file))

    def _finished(self, file: str, future: Future[Bytes | None]) -> None:
        """Send a picture to the screen's thread (runs in the maker's thread)."""
        if not future.cancelled() and future.exception() is None:
            self.made.emit(file, future.result())


def thumbnail_of(loop: Loop) -> Bytes | None:
    """Return the middle frame as shown, no side longer than `SIDE`; None if it has no picture.

    Returns
    -------
    array of uint8, shape (rows, columns, 3)
    """
    try:
        frame = ShownLoop(loop, AS_THE_FILE_ASKS).frame(loop.frames // 2)
    except AnnotError:
        return None
    step = max(1, -(-max(frame.shape[:2]) // SIDE))
    small = np.asarray(frame[::step, ::step])
    if small.dtype != np.uint8:
        small = (small / max(float(small.max()), 1.0) * 255).astype(np.uint8)
    coloured = small if small.ndim == 3 else np.repeat(small[..., None], 3, axis=2)
    return np.ascontiguousarray(coloured)
