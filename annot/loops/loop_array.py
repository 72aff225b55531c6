"""A loop as an array that decodes only the frames it is asked for."""

from typing import Any, Protocol, SupportsIndex

import numpy as np

from annot.loops.frame_cache import FrameCache
from annot.loops.pixel_layout import PixelArray
from annot.loops.prefetch import Prefetch

DEFAULT_CACHE_BYTES = 128 << 20
DEFAULT_AHEAD_FRAMES = 8


class Frames(Protocol):
    """Frames of one size and type, given one at a time: a loop, or one as it is shown."""

    @property
    def shape(self) -> tuple[int, ...]:
        """(frames, rows, columns), with a last axis of 3 for colour."""

    @property
    def dtype(self) -> np.dtype[np.generic]:
        """Type of one sample."""

    def frame(self, n: int) -> PixelArray:
        """Give one frame, from any thread."""


class LoopArray:
    """Array-like view of a loop: (frames, rows, columns), with a last axis of 3 for colour.

    Indexing follows NumPy for a first index that is a whole number, a slice, or a list of frames,
    and for whatever basic indices follow it; it decodes the frames named and no others.

    Parameters
    ----------
    loop
        The loop to look into.
    cache_bytes
        How many bytes of decoded frames to keep.
    ahead_frames
        How many frames to decode ahead of steady play, on a thread of its own; never more than
        half of what `cache_bytes` holds, and 0 turns it off.
    """

    def __init__(
        self,
        loop: Frames,
        *,
        cache_bytes: int = DEFAULT_CACHE_BYTES,
        ahead_frames: int = DEFAULT_AHEAD_FRAMES,
    ) -> None:
        self._loop = loop
        self._cache = cache = FrameCache(cache_bytes)
        room = cache_bytes // (2 * max(1, self.nbytes // len(self)))
        self._prefetch = Prefetch(
            len(self),
            lambda frame: cache.holds(frame) or cache.get(frame, loop.frame),
            ahead=min(ahead_frames, room),
        )

    def __repr__(self) -> str:
        return f"<LoopArray {self.shape} {self.dtype}>"

    @property
    def shape(self) -> tuple[int, ...]:
        """(frames, rows, columns) or (frames, rows, columns, 3)."""
        return self._loop.shape

    @property
    def dtype(self) -> np.dtype[np.generic]:
        """Type of one sample."""
        return self._loop.dtype

    @property
    def ndim(self) -> int:
        """Number of axes."""
        return len(self.shape)

    @property
    def size(self) -> int:
        """Number of samples in the whole loop."""
        return int(np.prod(self.shape, dtype=np.int64))

    @property
    def nbytes(self) -> int:
        """Bytes of the whole loop, decoded."""
        return self.size * self.dtype.itemsize

    def __len__(self) -> int:
        return self.shape[0]

    def __getitem__(self, key: Any) -> PixelArray:
        first, rest = self._split(key)
        chosen = np.arange(len(self))[first]
        if chosen.ndim == 0:
            return np.asarray(self._frame(chosen)[rest])
        within = np.broadcast_to(np.False_, self.shape[1:])[rest].shape
        frames = np.empty((chosen.size, *within), dtype=self.dtype)
        for place, frame in enumerate(chosen.ravel()):
            frames[place] = self._frame(frame)[rest]
        return frames.reshape(*chosen.shape, *within)

    def __array__(self, dtype: Any = None, copy: bool | None = None) -> PixelArray:
        if copy is False:
            raise ValueError("a loop is decoded on demand, so it cannot become an array uncopied")
        return self[:] if dtype is None else self[:].astype(dtype, copy=False)

    @property
    def cached_bytes(self) -> int:
        """Bytes of decoded frames kept now."""
        return self._cache.held_bytes

    def _frame(self, frame: SupportsIndex) -> PixelArray:
        number = int(frame)
        self._prefetch.note(number)
        return self._cache.get(number, self._loop.frame)

    def _split(self, key: Any) -> tuple[Any, tuple[Any, ...]]:
        """Separate the frame index from those within a frame; fancy ones are for frames only."""
        parts = list(key) if isinstance(key, tuple) else [key]
        if any(part is None for part in parts):
            raise IndexError("a loop cannot be given new axes by indexing: take an array first")
        dots = [place for place, part in enumerate(parts) if part is Ellipsis]
        if dots:
            missing = self.ndim - (len(parts) - len(dots))
            parts[dots[0] : dots[0] + 1] = [slice(None)] * missing
        if not parts:
            return slice(None), ()
        rest = tuple(parts[1:])
        if not all(_basic(part) for part in rest) or len(dots) > 1:
            raise IndexError("within a frame, index with whole numbers and slices only")
        return parts[0], rest


def _basic(index: Any) -> bool:
    return isinstance(index, slice | int | np.integer) and not isinstance(index, bool)
