"""Loops inside zip archives: a member is named like a file below the archive, and never unpacked.

`study.zip/series/loop.dcm` is a path to a member. A member stored as it is, is read where it lies
in the archive; a compressed one is inflated into memory when its pixels are first wanted.
"""

import struct
import threading
import zipfile
import zlib
from collections.abc import Iterator
from dataclasses import dataclass
from functools import lru_cache
from pathlib import Path, PurePosixPath
from typing import BinaryIO, cast

from annot.errors import LoopError
from annot.loops.byte_source import LARGEST_IN_MEMORY, ByteSource, FileBytes, PartOfBytes

_MARK = b"PK\x03\x04"
# The local header before a member's bytes: its name and extra field have lengths of their own.
_LOCAL_HEADER = struct.Struct("<26xHH")
_ENCRYPTED = 0x1
# Whatever reading a damaged archive raises, or one packed in a way that is not known here.
UNREADABLE = (zipfile.BadZipFile, zlib.error, EOFError, NotImplementedError, RuntimeError)


@dataclass(frozen=True, slots=True, kw_only=True)
class ArchiveMember:
    """One file inside a zip archive."""

    archive: Path
    name: str

    @property
    def path(self) -> Path:
        """The member's name as a path below the archive."""
        return self.archive / PurePosixPath(self.name)


def is_archive(path: Path) -> bool:
    """Tell whether a file is a zip archive."""
    with path.open("rb") as stream:
        return stream.read(len(_MARK)) == _MARK and zipfile.is_zipfile(path)


def member_at(path: Path) -> ArchiveMember | None:
    """Find the archive that a path leads into, ``None`` if it leads into none."""
    for parent in path.parents:
        if parent.is_file():
            return ArchiveMember(archive=parent, name=path.relative_to(parent).as_posix())
    return None


def archive_folder(place: Path) -> tuple[Path, ...] | None:
    """List what lies directly in an archive or in a folder of one, by name.

    Returns
    -------
    tuple or None
        Paths of members; ``None`` if the path is neither an archive nor a folder of one.

    Raises
    ------
    LoopError
        If the archive is damaged.
    """
    inside = member_at(place)
    archive = place if inside is None else inside.archive
    if not archive.is_file() or not is_archive(archive):
        return None
    here = tuple(one.path for one in members(archive) if place in one.path.parents)
    direct = tuple(path for path in here if path.parent == place)
    return direct if here or inside is None else None


def members(archive: Path) -> Iterator[ArchiveMember]:
    """List the files in an archive by name.

    Raises
    ------
    LoopError
        If the archive is damaged.
    """
    try:
        names = sorted(one.filename for one in _opened(archive).infolist() if not one.is_dir())
    except UNREADABLE as error:
        raise LoopError(
            f"{archive.name} is a damaged zip archive: copy it again from where it was stored."
        ) from error
    yield from (ArchiveMember(archive=archive, name=name) for name in names)


def member_bytes(member: ArchiveMember) -> ByteSource:
    """Give access to a member's bytes.

    Raises
    ------
    LoopError
        If the archive has no such member, is damaged, or the member is encrypted.
    """
    try:
        info = _opened(member.archive).getinfo(member.name)
    except KeyError:
        raise LoopError(f"{member.archive.name} holds no {member.name}: check the name.") from None
    except UNREADABLE as error:
        raise LoopError(f"{member.archive.name} is no zip archive or a damaged one.") from error
    if info.flag_bits & _ENCRYPTED:
        raise LoopError(
            f"{member.path.name} is encrypted in {member.archive.name}: unpack it first."
        )
    if info.compress_type == zipfile.ZIP_STORED:
        whole = FileBytes(member.archive)
        head = bytearray(_LOCAL_HEADER.size)
        whole.read_into(info.header_offset, memoryview(head))
        if not head.startswith(_MARK):
            raise LoopError(_damaged(member))
        start = info.header_offset + _LOCAL_HEADER.size + sum(_LOCAL_HEADER.unpack(head))
        return PartOfBytes(whole, start, info.file_size)
    return InflatedBytes(member, info.file_size)


def _opened(archive: Path) -> zipfile.ZipFile:
    """Open an archive; its directory is read once, not once for each of hundreds of members."""
    stat = archive.stat()
    return _opened_as_it_is(archive, stat.st_ino, stat.st_mtime_ns, stat.st_size)


@lru_cache(maxsize=2)
def _opened_as_it_is(archive: Path, *_identity: int) -> zipfile.ZipFile:
    return zipfile.ZipFile(archive)  # closed when it is dropped and nobody reads from it any more


class InflatedBytes:
    """A compressed member: streamed for its header, held in memory once its pixels are wanted."""

    def __init__(self, member: ArchiveMember, size: int) -> None:
        self._member = member
        self._size = size
        self._content: bytes | None = None
        self._lock = threading.Lock()

    @property
    def size(self) -> int:
        """Number of bytes, inflated."""
        return self._size

    def opened(self, *, buffered: bool = True) -> BinaryIO:
        """Give a fresh stream that inflates as it is read."""
        return cast("BinaryIO", _opened(self._member.archive).open(self._member.name))

    def read_into(self, offset: int, target: memoryview) -> int:
        """Fill `target` from `offset`; fewer bytes only at the end."""
        held = self.mapped()[offset : offset + len(target)]
        target[: len(held)] = held
        return len(held)

    def read(self, offset: int, count: int) -> bytes:
        """Read `count` bytes from `offset`; fewer only at the end."""
        return bytes(self.mapped()[offset : offset + count])

    def mapped(self) -> memoryview:
        """Give the whole member, inflated."""
        with self._lock:
            if self._content is None:
                self._content = self._inflated()
            return memoryview(self._content)

    def _inflated(self) -> bytes:
        name, archive = self._member.path.name, self._member.archive.name
        if self._size > LARGEST_IN_MEMORY:
            raise LoopError(
                f"{name} inflates to more than {LARGEST_IN_MEMORY >> 20} MiB: unpack {archive} "
                "first."
            )
        try:
            return _opened(self._member.archive).read(self._member.name)
        except UNREADABLE as error:
            raise LoopError(_damaged(self._member)) from error


def _damaged(member: ArchiveMember) -> str:
    return (
        f"{member.path.name} is damaged in {member.archive.name}: copy the archive again from "
        "where it was stored."
    )
