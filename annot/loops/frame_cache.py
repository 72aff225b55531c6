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
        self._under_way: dict[int, threading.Event] = {}

    @property
    def held_bytes(self) -> int:
        """Bytes of pixel data kept now."""
        return self._held

    def holds(self, frame: int) -> bool:
        """Tell whether a frame is kept or is being decoded."""
        with self._lock:
            return frame in self._frames or frame in self._under_way

    def get(self, frame: int, decode: Callable[[int], PixelArray]) -> PixelArray:
        """Give a frame, decoding it only if it is not kept.

        Decoding runs outside the lock, so a thread waits for another only if both want the same
        frame; if that one's decoding fails, each finds out for itself.
        """
        with self._lock:
            kept = self._kept(frame)
            if kept is not None:
                return kept
            other = self._under_way.get(frame)
            own = self._under_way.setdefault(frame, threading.Event())
        if other is not None:
            other.wait()
            with self._lock:
                kept = self._kept(frame)
            return decode(frame) if kept is None else kept
        try:
            pixels = decode(frame)
            with self._lock:
                self._keep(frame, pixels)
            return pixels
        finally:
            with self._lock:
                del self._under_way[frame]
            own.set()

    def _kept(self, frame: int) -> PixelArray | None:
        kept = self._frames.get(frame)
        if kept is not None:
            self._frames.move_to_end(frame)
        return kept

    def _keep(self, frame: int, pixels: PixelArray) -> None:
        if frame in self._frames or pixels.nbytes > self._most_bytes:
            return
        self._frames[frame] = pixels
        self._held += pixels.nbytes
        while self._held > self._most_bytes:
            _, dropped = self._frames.popitem(last=False)
            self._held -= dropped.nbytes
