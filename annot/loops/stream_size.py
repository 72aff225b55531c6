"""The size and depth that a compressed frame states of itself, read before anything is decoded.

A decoder allocates what the stream asks for, so a stream that disagrees with the header must be
refused first. Sources: ISO/IEC 10918-1 B.2.2 (frame header), ISO/IEC 15444-1 A.5.1 (SIZ).
"""

import struct
from dataclasses import dataclass

_CODESTREAM = b"\xff\x4f\xff\x51"
# The code stream of a boxed JPEG 2000 file starts after a few short boxes.
_BOXES = 4096
# Start-of-frame markers: all of C0 to CF but the tables C4, C8, CC; F7 is JPEG-LS.
_FRAME_MARKERS = frozenset({*range(0xC0, 0xD0), 0xF7} - {0xC4, 0xC8, 0xCC})
_WITHOUT_LENGTH = frozenset({0x01, *range(0xD0, 0xD9)})


@dataclass(frozen=True, slots=True, kw_only=True)
class StreamSize:
    """Rows, columns, colour components and bits per sample of one compressed image."""

    rows: int
    columns: int
    components: int
    bits: int


def stream_size(stream: bytes) -> StreamSize | None:
    """Read the size a JPEG, JPEG-LS, JPEG 2000 or HTJ2K stream states; ``None`` if it has none."""
    if stream.startswith(b"\xff\xd8"):
        return _jpeg_size(stream)
    at = stream.find(_CODESTREAM, 0, _BOXES)
    return _codestream_size(stream, at) if at >= 0 else None


def _jpeg_size(stream: bytes) -> StreamSize | None:
    at = 2
    while at + 4 <= len(stream):
        if stream[at] != 0xFF:
            return None
        marker = stream[at + 1]
        if marker == 0xFF or marker in _WITHOUT_LENGTH:
            at += 1 if marker == 0xFF else 2
            continue
        if marker in _FRAME_MARKERS:
            if at + 10 > len(stream):
                return None
            bits, rows, columns, components = struct.unpack_from(">BHHB", stream, at + 4)
            return StreamSize(rows=rows, columns=columns, components=components, bits=bits)
        at += 2 + int(struct.unpack_from(">H", stream, at + 2)[0])
    return None


def _codestream_size(stream: bytes, at: int) -> StreamSize | None:
    # SOC 2, SIZ 2, Lsiz 2, Rsiz 2, then Xsiz Ysiz XOsiz YOsiz, four tile sizes, Csiz, Ssiz.
    if at + 43 > len(stream):
        return None
    columns, rows, left, top = struct.unpack_from(">4I", stream, at + 8)
    components, depth = struct.unpack_from(">HB", stream, at + 40)
    return StreamSize(
        rows=rows - top,
        columns=columns - left,
        components=components,
        bits=(depth & 0x7F) + 1,  # the top bit is the sign, the rest is bits - 1
    )
