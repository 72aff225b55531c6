"""What a compressed frame states of itself, read before anything is decoded.

A decoder allocates what the stream asks for, so a stream that disagrees with the header must be
refused first. Sources: ISO/IEC 10918-1 B.2.2 (frame header), ISO/IEC 10918-5 and -6 (the JFIF and
Adobe segments), ISO/IEC 15444-1 A.5.1 (SIZ).
"""

import struct
from dataclasses import dataclass

_CODESTREAM = b"\xff\x4f\xff\x51"
# The code stream of a boxed JPEG 2000 file starts after a few short boxes.
_BOXES = 4096
# Start-of-frame markers: all of C0 to CF but the tables C4, C8, CC; F7 is JPEG-LS.
_FRAME_MARKERS = frozenset({*range(0xC0, 0xD0), 0xF7} - {0xC4, 0xC8, 0xCC})
_WITHOUT_LENGTH = frozenset({0x01, *range(0xD0, 0xD9)})
# The end of image of JPEG and JPEG-LS and the end of codestream of JPEG 2000 are one marker, which
# compressed data cannot contain.
_END = b"\xff\xd9"
_RGB_NAMES = (b"RGB", b"rgb")


@dataclass(frozen=True, slots=True, kw_only=True)
class StreamSize:
    """Size, depth and colour of one compressed image.

    Attributes
    ----------
    rows, columns, components, bits
        Pixels, colour components, bits per sample.
    signed
        Whether samples are signed (only JPEG 2000 can say so).
    whole
        Whether the end mark follows the frame header.
    colour
        ``RGB`` or ``YCBCR`` where a JPEG's own marks say which, else ``None``.
    """

    rows: int
    columns: int
    components: int
    bits: int
    signed: bool = False
    whole: bool = True
    colour: str | None = None


def stream_size(stream: bytes) -> StreamSize | None:
    """Read the size a JPEG, JPEG-LS, JPEG 2000 or HTJ2K stream states; ``None`` if it has none."""
    if stream.startswith(b"\xff\xd8"):
        return _jpeg_size(stream)
    at = stream.find(_CODESTREAM, 0, _BOXES)
    return _codestream_size(stream, at) if at >= 0 else None


def _jpeg_size(stream: bytes) -> StreamSize | None:
    at, colour = 2, None
    while at + 4 <= len(stream):
        if stream[at] != 0xFF:
            return None
        marker = stream[at + 1]
        if marker == 0xFF or marker in _WITHOUT_LENGTH:
            at += 1 if marker == 0xFF else 2
            continue
        if marker in _FRAME_MARKERS:
            return _frame_header(stream, at, colour)
        colour = _stated_colour(stream[at + 1 : at + 18]) or colour
        at += 2 + int(struct.unpack_from(">H", stream, at + 2)[0])
    return None


def _stated_colour(segment: bytes) -> str | None:
    """Read the colour out of a JFIF (APP0) or Adobe (APP14) segment, given from its marker."""
    if segment[0] == 0xE0 and segment[3:8] == b"JFIF\0":
        return "YCBCR"
    if segment[0] == 0xEE and segment[3:8] == b"Adobe" and len(segment) > 14:
        return "YCBCR" if segment[14] == 1 else "RGB"
    return None


def _frame_header(stream: bytes, at: int, colour: str | None) -> StreamSize | None:
    if at + 10 > len(stream):
        return None
    bits, rows, columns, components = struct.unpack_from(">BHHB", stream, at + 4)
    names = bytes(stream[at + 10 : at + 10 + 3 * components : 3])
    return StreamSize(
        rows=rows,
        columns=columns,
        components=components,
        bits=bits,
        whole=stream.rfind(_END, at) >= 0,
        colour="RGB" if names in _RGB_NAMES else colour,
    )


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
        signed=bool(depth & 0x80),
        whole=stream.rfind(_END, at) >= 0,
    )
