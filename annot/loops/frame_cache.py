"""Keep the frames used last, bounded in bytes."""

import threading
from collections import OrderedDict
from collections.abc import Callable

from annot.loops.pixel_layout import PixelArray


class FrameCache:
    """The most recently used frames of one loop; safe to use from several threads.

    Parameters
    ----------
    most_bytes
        How much pixel data may be kept; a frame larger than that is never kept.
    """

    def __init__(self, most_bytes: int) -> None:
        self._most_bytes = most_bytes
        self._frames: OrderedDict[int, PixelArray] = OrderedDict()
        self._held = 0
        self._lock = threading.Lock()

    @property
    def held_bytes(self) -> int:
        """Bytes of pixel data kept now."""
        return self._held

    def get(self, frame: int, decode: Callable[[int], PixelArray]) -> PixelArray:
        """Give a frame, decoding it only if it is not kept.

        Decoding runs outside the lock: two threads may decode one frame twice, but neither waits
        for the other's frame.
        """
        with self._lock:
            kept = self._frames.get(frame)
            if kept is not None:
                self._frames.move_to_end(frame)
                return kept
        pixels = decode(frame)
        with self._lock:
            self._keep(frame, pixels)
        return pixels

    def _keep(self, frame: int, pixels: PixelArray) -> None:
        if frame in self._frames or pixels.nbytes > self._most_bytes:
            return
        self._frames[frame] = pixels
        self._held += pixels.nbytes
        while self._held > self._most_bytes:
            _, dropped = self._frames.popitem(last=False)
            self._held -= dropped.nbytes
