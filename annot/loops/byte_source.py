"""Where a loop's bytes are: a file, or memory for what had to be inflated.

Pixels are read, not mapped, unless a view is asked for: when a disc is pulled out, a reading fails
with a sentence, but touching a mapped page ends the program.
"""

import io
import mmap
import os
import threading
import weakref
from pathlib import Path
from typing import Any, BinaryIO, Protocol, cast

from annot.errors import LoopError

# A cine study rarely exceeds a few hundred MiB; what inflates to more than this is refused.
LARGEST_IN_MEMORY = 1 << 30


class ByteSource(Protocol):
    """Bytes that can be read from anywhere, any number of times, from any thread."""

    @property
    def size(self) -> int:
        """Number of bytes."""

    def opened(self, *, buffered: bool = True) -> BinaryIO:
        """Give a fresh readable stream positioned at the first byte.

        Without a buffer, jumping from place to place reads no more than is asked for.
        """

    def read_into(self, offset: int, target: memoryview) -> int:
        """Fill `target` from `offset`; return how many bytes there were."""

    def read(self, offset: int, count: int) -> bytes:
        """Read `count` bytes from `offset`; fewer only at the end."""

    def mapped(self) -> memoryview:
        """Give all bytes, read-only, without a copy."""


class FileBytes:
    """Bytes of a file, which must stay the file it was when this was made.

    Parameters
    ----------
    path
        The file; it is opened at the first reading of pixels and stays open.

    Raises
    ------
    OSError
        If the file cannot be reached.
    """

    def __init__(self, path: Path) -> None:
        self._path = path
        self._identity = _identity(path.stat())
        self._lock = threading.Lock()
        self._handle: int | None = None
        self._map: memoryview | None = None

    @property
    def size(self) -> int:
        """Number of bytes when the file was first seen."""
        return self._identity[-1]

    def opened(self, *, buffered: bool = True) -> BinaryIO:
        """Give a fresh stream of the file."""
        return self._path.open("rb") if buffered else cast("BinaryIO", self._path.open("rb", 0))

    def read_into(self, offset: int, target: memoryview) -> int:
        """Fill `target` from `offset`; fewer bytes only at the end.

        Raises
        ------
        LoopError
            If the file is no longer the one that was opened.
        OSError
            If it cannot be read.
        """
        handle, at = self._unchanged(), 0
        while at < len(target):
            got = self._read_some(handle, offset + at, target[at:])
            if not got:
                break
            at += got
        return at

    def read(self, offset: int, count: int) -> bytes:
        """Read `count` bytes from `offset`; fewer only at the end."""
        handle, parts = self._unchanged(), []
        while count > 0:
            part = self._part(handle, offset, count)
            if not part:
                break
            parts.append(part)
            offset, count = offset + len(part), count - len(part)
        return parts[0] if len(parts) == 1 else b"".join(parts)

    def _read_some(self, handle: int, offset: int, target: memoryview) -> int:
        if hasattr(os, "preadv"):
            return os.preadv(handle, [target], offset)
        content = self._part(handle, offset, len(target))
        target[: len(content)] = content
        return len(content)

    def _part(self, handle: int, offset: int, count: int) -> bytes:
        if hasattr(os, "pread"):
            return os.pread(handle, count, offset)
        with self._lock:  # where reading has no position of its own, threads take turns
            os.lseek(handle, offset, os.SEEK_SET)
            return os.read(handle, count)

    def mapped(self) -> memoryview:
        """Map the file; its pages belong to the system, not to this program's memory."""
        handle = self._unchanged()
        with self._lock:
            if self._map is None:
                self._map = memoryview(mmap.mmap(handle, 0, access=mmap.ACCESS_READ))
            return self._map

    def _unchanged(self) -> int:
        with self._lock:
            if self._handle is None:
                self._handle = os.open(self._path, os.O_RDONLY | getattr(os, "O_BINARY", 0))
                weakref.finalize(self, os.close, self._handle)
        if _identity(os.fstat(self._handle)) != self._identity:
            raise LoopError(
                f"{self._path.name} was changed since it was opened, so its frames cannot be found "
                "any more: open it again."
            )
        return self._handle


class MemoryBytes:
    """Bytes already in memory."""

    def __init__(self, content: bytes) -> None:
        self._content = content

    @property
    def size(self) -> int:
        """Number of bytes."""
        return len(self._content)

    def opened(self, *, buffered: bool = True) -> BinaryIO:
        """Give a fresh stream of the bytes."""
        return io.BytesIO(self._content)

    def read_into(self, offset: int, target: memoryview) -> int:
        """Fill `target` from `offset`; fewer bytes only at the end."""
        held = self._content[offset : offset + len(target)]
        target[: len(held)] = held
        return len(held)

    def read(self, offset: int, count: int) -> bytes:
        """Read `count` bytes from `offset`; fewer only at the end."""
        return self._content[offset : offset + count]

    def mapped(self) -> memoryview:
        """Give the bytes themselves."""
        return memoryview(self._content)


class PartOfBytes:
    """A part of other bytes, such as a file inside an archive.

    Parameters
    ----------
    whole
        The bytes it lies in.
    start, size
        Where it begins in them, and its length.
    """

    def __init__(self, whole: ByteSource, start: int, size: int) -> None:
        self._whole = whole
        self._start = start
        self._size = size

    @property
    def size(self) -> int:
        """Number of bytes of the part."""
        return self._size

    def opened(self, *, buffered: bool = True) -> BinaryIO:
        """Give a fresh stream of the part."""
        whole = self._whole.opened(buffered=buffered)
        return cast("BinaryIO", _PartStream(whole, self._start, self._size))

    def read_into(self, offset: int, target: memoryview) -> int:
        """Fill `target` from `offset` of the part; fewer bytes only at its end."""
        within = max(0, min(len(target), self._size - offset))
        return self._whole.read_into(self._start + offset, target[:within])

    def read(self, offset: int, count: int) -> bytes:
        """Read `count` bytes from `offset` of the part; fewer only at its end."""
        return self._whole.read(self._start + offset, max(0, min(count, self._size - offset)))

    def mapped(self) -> memoryview:
        """Give the part, without a copy if the whole does."""
        return self._whole.mapped()[self._start : self._start + self._size]


class _PartStream(io.RawIOBase):
    def __init__(self, stream: BinaryIO, start: int, size: int) -> None:
        self._stream = stream
        self._start = start
        self._size = size
        self._at = 0

    def readable(self) -> bool:
        return True

    def seekable(self) -> bool:
        return True

    def seek(self, offset: int, whence: int = io.SEEK_SET) -> int:
        base = {io.SEEK_SET: 0, io.SEEK_CUR: self._at, io.SEEK_END: self._size}[whence]
        self._at = max(0, base + offset)
        return self._at

    def readinto(self, buffer: Any) -> int:
        count = max(0, min(len(buffer), self._size - self._at))
        self._stream.seek(self._start + self._at)
        content = self._stream.read(count)
        buffer[: len(content)] = content
        self._at += len(content)
        return len(content)

    def close(self) -> None:
        self._stream.close()
        super().close()


def _identity(stat: os.stat_result) -> tuple[int, int, int]:
    return stat.st_ino, stat.st_mtime_ns, stat.st_size
