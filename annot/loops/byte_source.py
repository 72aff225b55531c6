"""Where a loop's bytes are: a file, or memory for a file that had to be inflated."""

from collections.abc import Callable
from dataclasses import dataclass
from io import BytesIO
from pathlib import Path
from typing import BinaryIO


@dataclass(frozen=True, slots=True, kw_only=True)
class ByteSource:
    """Bytes that can be opened any number of times, from any thread.

    Attributes
    ----------
    opened
        Gives a fresh readable stream positioned at the first byte.
    size
        Number of bytes.
    """

    opened: Callable[[], BinaryIO]
    size: int

    def read(self, offset: int, count: int) -> bytes:
        """Read `count` bytes from `offset`; fewer only at the end."""
        with self.opened() as stream:
            stream.seek(offset)
            return stream.read(count)


def file_bytes(path: Path) -> ByteSource:
    """Bytes of a file; it is opened for each reading, so no handle stays open."""
    return ByteSource(opened=lambda: path.open("rb"), size=path.stat().st_size)


def memory_bytes(content: bytes) -> ByteSource:
    """Bytes already in memory."""
    return ByteSource(opened=lambda: BytesIO(content), size=len(content))
