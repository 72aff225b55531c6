"""Find the frames of encapsulated pixel data (PS3.5 A.4) without decoding any.

Fragments are walked once. Which fragments make up which frame comes, in this order, from the
extended offset table, the basic offset table, one fragment per frame, and the marks with which a
compressed image starts. Fragments may not hold more than one frame, but such files exist: where
there are fewer fragments than frames, they are cut where one image ends and the next begins.
"""

import re
import struct
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from itertools import pairwise
from typing import BinaryIO

from annot.loops.byte_source import ByteSource

_ITEM = (0xFFFE, 0xE000)
_SEQUENCE_END = (0xFFFE, 0xE0DD)
_HEAD = struct.Struct("<HHI")
_HEAD_BYTES = _HEAD.size
# As many bytes of a value as the longest of the marks below needs.
_MARK_BYTES = 8
# JPEG and JPEG-LS; JPEG 2000 and HTJ2K codestream; the same in its box format.
_IMAGE_STARTS = (b"\xff\xd8", b"\xff\x4f\xff\x51", b"\0\0\0\x0cjP  ")
_MOST_FRAGMENTS = 1 << 20
# The end mark, a byte that pads to even length, and then another image.
_SEAM = re.compile(rb"\xff\xd9\0?(?=\xff\xd8\xff|\xff\x4f\xff\x51)")


@dataclass(frozen=True, slots=True, kw_only=True)
class Fragment:
    """One item of the pixel data: where its value lies and whether an image starts there."""

    offset: int
    length: int
    starts_image: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class FrameIndex:
    """The fragments of every frame that the file really holds.

    Attributes
    ----------
    frames
        Fragments by frame; shorter than the header's count if frames are absent.
    fault
        Why frames are absent or surplus, as a clause without a full stop; ``None`` if all is well.
    """

    frames: tuple[tuple[Fragment, ...], ...]
    fault: str | None


@dataclass(frozen=True, slots=True, kw_only=True)
class _Walk:
    fragments: tuple[Fragment, ...]
    table: bytes
    first_item: int
    # Whether the closing delimiter is absent, and whether a piece of a fragment is left over.
    cut: bool
    partial: bool


def index_frames(
    source: ByteSource,
    offset: int,
    *,
    frames: int,
    one_fragment_each: bool,
    extended_offsets: Sequence[int] = (),
) -> FrameIndex:
    """Walk the fragments and sort them into frames.

    Parameters
    ----------
    source
        The file's bytes.
    offset
        Where the value of Pixel Data begins.
    frames
        How many frames the header claims.
    one_fragment_each
        Whether the encoding puts each frame into exactly one fragment (RLE does).
    extended_offsets
        The extended offset table, if the file has one.
    """
    with source.opened(buffered=False) as stream:
        walk = _walk(stream, offset, source.size)
    table = extended_offsets or _basic_offsets(walk.table)
    grouped = _by_table(walk, table) if len(table) == frames else None
    if grouped is None:
        fragments = walk.fragments
        if len(fragments) < frames and not one_fragment_each:
            fragments = tuple(piece for part in fragments for piece in _pieces(source, part))
        grouped = _by_content(fragments, frames, one_fragment_each=one_fragment_each)
    return FrameIndex(frames=grouped[:frames], fault=_fault(len(grouped), frames, cut=walk.cut))


def walk_fragments(source: ByteSource, offset: int) -> tuple[Fragment, ...]:
    """List the whole fragments of encapsulated pixel data whose value begins at `offset`."""
    with source.opened(buffered=False) as stream:
        return _walk(stream, offset, source.size).fragments


def _walk(stream: BinaryIO, start: int, size: int) -> _Walk:
    """Go from item to item: of each, its head and the first bytes of its value are read."""
    fragments: list[Fragment] = []
    table, first_item, cut, partial = b"", 0, True, True
    while len(fragments) < _MOST_FRAGMENTS:
        stream.seek(start)
        head = stream.read(_HEAD_BYTES + _MARK_BYTES)
        if len(head) < _HEAD_BYTES:
            partial = bool(head)
            break
        group, element, length = _HEAD.unpack_from(head)
        value, start = start + _HEAD_BYTES, start + _HEAD_BYTES + length
        if (group, element) != _ITEM:
            cut = partial = (group, element) != _SEQUENCE_END
            break
        if start > size:
            break
        if not first_item:
            stream.seek(value)
            table, first_item = stream.read(length), start
            continue
        mark = head[_HEAD_BYTES : _HEAD_BYTES + length]
        fragments.append(
            Fragment(offset=value, length=length, starts_image=mark.startswith(_IMAGE_STARTS))
        )
    return _Walk(
        fragments=tuple(fragments), table=table, first_item=first_item, cut=cut, partial=partial
    )


def _basic_offsets(table: bytes) -> tuple[int, ...]:
    count = len(table) // 4
    return struct.unpack(f"<{count}I", table[: count * 4])


def _by_table(walk: _Walk, table: Sequence[int]) -> tuple[tuple[Fragment, ...], ...] | None:
    """Group fragments at the offsets of a table, ``None`` if the table does not fit them.

    Offsets count from the first byte of the first fragment's item tag.
    """
    starts = [walk.first_item + offset + _HEAD_BYTES for offset in table]
    at = {fragment.offset: number for number, fragment in enumerate(walk.fragments)}
    if not walk.fragments or starts[0] != walk.fragments[0].offset:
        return None
    if any(later <= earlier for earlier, later in pairwise(starts)):
        return None
    held = [at[start] for start in starts if start in at]
    last = walk.fragments[-1]
    beyond = [start for start in starts if start > last.offset]
    if len(held) + len(beyond) != len(starts) or (beyond and not walk.cut):
        return None
    ends = [*held[1:], len(walk.fragments)]
    groups = [walk.fragments[first:end] for first, end in zip(held, ends, strict=True)]
    if walk.partial and not _ends_at(groups[-1], beyond):
        groups.pop()
    return tuple(groups)


def _ends_at(group: Sequence[Fragment], beyond: Sequence[int]) -> bool:
    """Tell whether a frame is whole because the next one begins right after it."""
    return bool(beyond) and group[-1].offset + group[-1].length + _HEAD_BYTES == beyond[0]


def _by_content(
    fragments: tuple[Fragment, ...], frames: int, *, one_fragment_each: bool
) -> tuple[tuple[Fragment, ...], ...]:
    starts = [number for number, fragment in enumerate(fragments) if fragment.starts_image]
    if one_fragment_each or len(fragments) == frames:
        return tuple((fragment,) for fragment in fragments)
    if frames == 1 and len(starts) <= 1:
        return (fragments,) if fragments else ()
    ends = [*starts[1:], len(fragments)]
    return tuple(fragments[first:end] for first, end in zip(starts, ends, strict=False))


def _pieces(source: ByteSource, fragment: Fragment) -> Iterator[Fragment]:
    """Cut a fragment where one image ends and another begins."""
    content = source.read(fragment.offset, fragment.length)
    seams = [match.end() for match in _SEAM.finditer(content)]
    for number, (start, end) in enumerate(pairwise([0, *seams, len(content)])):
        yield Fragment(
            offset=fragment.offset + start,
            length=end - start,
            starts_image=bool(number) or fragment.starts_image,
        )


def _fault(found: int, frames: int, *, cut: bool) -> str | None:
    if found == frames:
        return None
    if cut and found < frames:
        return f"the file is cut short and holds {found} whole frames of the {frames} it claims"
    return f"the header claims {frames} frames but the file holds {found}"
