"""Parse a DICOM file up to its pixels, and find where they lie."""

import struct
import zlib
from dataclasses import dataclass
from pathlib import Path
from typing import BinaryIO
from warnings import WarningMessage

from pydicom.dataset import Dataset, FileMetaDataset
from pydicom.filereader import dcmread, read_dataset
from pydicom.uid import UID, DeflatedExplicitVRLittleEndian, ExplicitVRBigEndian

from annot.errors import LoopError
from annot.loops.archives import UNREADABLE, member_at, member_bytes
from annot.loops.byte_source import LARGEST_IN_MEMORY, ByteSource, FileBytes, MemoryBytes
from annot.loops.quiet import captured_warnings

_PREFIX_AT = 128
_PREFIX = b"DICM"
_PIXEL_DATA = (0x7FE0, 0x0010)
_FLOAT_PIXEL_DATA = ((0x7FE0, 0x0008), (0x7FE0, 0x0009))
_UNDEFINED_LENGTH = 0xFFFFFFFF
# Group length element (4 + 2 + 2 + 4 bytes) that opens the file meta information.
_META_FIRST_ELEMENT = 12
_META_GROUP = 0x0002


@dataclass(frozen=True, slots=True, kw_only=True)
class PixelElement:
    """Where the value of Pixel Data lies: `length` is ``None`` if undefined (encapsulated)."""

    offset: int
    length: int | None
    words: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class DicomFile:
    """A parsed file: everything before the pixels, and the way to them.

    Attributes
    ----------
    path
        The file.
    dataset
        All attributes before the pixel data.
    meta
        The file meta information.
    transfer_syntax
        Its transfer syntax.
    source
        The bytes that `pixels` points into.
    pixels
        Where Pixel Data lies, ``None`` if there is none.
    irregular
        Whether the parser complained about the file's form.
    """

    path: Path
    dataset: Dataset
    meta: FileMetaDataset
    transfer_syntax: UID
    source: ByteSource
    pixels: PixelElement | None
    irregular: bool


def has_mark(source: ByteSource) -> bool:
    """Tell whether bytes carry the DICOM prefix after a 128-byte preamble."""
    with source.opened() as stream:
        return stream.read(_PREFIX_AT + len(_PREFIX))[_PREFIX_AT:] == _PREFIX


def parse_file(path: Path) -> DicomFile:
    """Parse everything before the pixel data.

    Raises
    ------
    LoopError
        If the path is no readable DICOM file.
    """
    source = reached(path)
    try:
        with captured_warnings() as seen:
            return _parse(path, source, seen)
    except LoopError:
        raise
    except Exception as error:
        raise LoopError(
            f"{path.name}: the DICOM attributes cannot be read ({type(error).__name__}); "
            "the file is damaged, so copy it again from where it was stored."
        ) from error


def reached(path: Path) -> ByteSource:
    """Give access to a file or a member of an archive that carries the DICOM mark."""
    try:
        if path.is_dir():
            raise LoopError(f"{path} is a folder: name a file in it.")
        source = _file_or_member(path)
        with source.opened() as stream:
            head = stream.read(_PREFIX_AT + len(_PREFIX))
    except OSError as error:
        raise LoopError(f"{path.name} cannot be opened: {error.strerror or error}.") from error
    except UNREADABLE as error:
        raise LoopError(
            f"{path.name} cannot be taken out of its archive ({type(error).__name__}): copy the "
            "archive again from where it was stored, or unpack it first."
        ) from error
    if not head:
        raise LoopError(f"{path.name} is empty: copy it again from where it was stored.")
    if head[_PREFIX_AT:] != _PREFIX:
        raise LoopError(f"{path.name} is not a DICOM file: it lacks the DICM mark at byte 128.")
    return source


def _file_or_member(path: Path) -> ByteSource:
    if path.is_file():
        return FileBytes(path)
    if path.exists():
        raise LoopError(f"{path} is not a file but a device or a pipe: name a file.")
    member = member_at(path)
    if member is None:
        raise LoopError(f"{path} does not exist: check the name.")
    return member_bytes(member)


def _parse(path: Path, source: ByteSource, seen: list[WarningMessage]) -> DicomFile:
    meta = _meta(source)
    syntax = meta.get("TransferSyntaxUID")
    if not syntax:
        raise LoopError(
            f"{path.name} does not name its transfer syntax, so its pixels cannot be decoded "
            "without guessing: export the file again."
        )
    deflated = syntax == DeflatedExplicitVRLittleEndian
    if deflated:
        source = MemoryBytes(_inflate(path.name, source, meta))
    with source.opened() as stream:
        dataset = _read_before_pixels(stream, deflated=deflated)
        dataset.file_meta = meta  # palettes are read in the byte order it names
        pixels = _locate_pixels(stream, source, big_endian=syntax == ExplicitVRBigEndian)
    return DicomFile(
        path=path,
        dataset=dataset,
        meta=meta,
        transfer_syntax=UID(syntax),
        source=source,
        pixels=pixels,
        irregular=bool(seen),
    )


def _meta(source: ByteSource) -> FileMetaDataset:
    """Read the file meta information: group 2, always explicit and little endian (PS3.10 7.1)."""
    with source.opened() as stream:
        stream.read(_PREFIX_AT + len(_PREFIX))
        group = read_dataset(
            stream,
            is_implicit_VR=False,
            is_little_endian=True,
            stop_when=lambda tag, _vr, _length: tag.group != _META_GROUP,
        )
    return FileMetaDataset(group)


def _read_before_pixels(stream: BinaryIO, *, deflated: bool) -> Dataset:
    if not deflated:
        return dcmread(stream, stop_before_pixels=True)
    stops = {_PIXEL_DATA, *_FLOAT_PIXEL_DATA}
    return read_dataset(
        stream,
        is_implicit_VR=False,
        is_little_endian=True,
        stop_when=lambda tag, _vr, _length: (tag.group, tag.element) in stops,
    )


def _inflate(name: str, source: ByteSource, meta: FileMetaDataset) -> bytes:
    """Inflate a deflated data set (PS3.5 A.5), never beyond `LARGEST_IN_MEMORY` bytes."""
    length = meta.get("FileMetaInformationGroupLength")
    if length is None:
        raise LoopError(f"{name} has no file meta length: export the file again.")
    with source.opened() as stream:
        stream.seek(_PREFIX_AT + len(_PREFIX) + _META_FIRST_ELEMENT + int(length))
        content = stream.read()
    inflater = zlib.decompressobj(-zlib.MAX_WBITS)
    inflated = inflater.decompress(content, LARGEST_IN_MEMORY)
    if inflater.unconsumed_tail:
        raise LoopError(
            f"{name} inflates to more than {LARGEST_IN_MEMORY >> 20} MiB and is refused: "
            "export it uncompressed."
        )
    return inflated


def _locate_pixels(
    stream: BinaryIO, source: ByteSource, *, big_endian: bool
) -> PixelElement | None:
    order = ">" if big_endian else "<"
    head = stream.read(12)
    if len(head) < 8 or struct.unpack(order + "HH", head[:4]) != _PIXEL_DATA:
        return None
    start = stream.tell() - len(head)
    if head[4:6] in (b"OB", b"OW", b"UN"):
        words, length_at = head[4:6] == b"OW", 8
    else:  # implicit VR: the length follows the tag
        words, length_at = True, 4
    length = int(struct.unpack_from(order + "I", head, length_at)[0])
    return PixelElement(
        offset=start + length_at + 4,
        length=None if length == _UNDEFINED_LENGTH else length,
        words=words,
    )
