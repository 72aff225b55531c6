"""Decode one compressed frame with imagecodecs, and bring it to stored values or RGB.

One decoder per encoding, always the same: two decoders of one lossy frame differ by a few grey
levels. While it decodes, other threads run on.
"""

import struct
import zlib
from collections.abc import Callable
from dataclasses import dataclass

import imagecodecs
import numpy as np

from annot.loops.colour import native_colour, ybr_to_rgb
from annot.loops.pixel_layout import PixelArray, PixelLayout
from annot.loops.stored_bits import keep_low_bits
from annot.loops.stream_size import StreamSize
from annot.loops.transfer_syntaxes import (
    DEFLATED_FRAMES,
    HTJ2K,
    JPEG,
    JPEG_2000,
    JPEG_LOSSLESS,
    JPEG_LS,
    RLE,
)

_RLE_HEADER = struct.Struct("<16I")


class BrokenStreamError(Exception):
    """A stream that contradicts its header in a way the decoder itself does not mind."""


@dataclass(frozen=True, slots=True, kw_only=True)
class FrameStream:
    """One frame as it lies in the file.

    Attributes
    ----------
    content
        The compressed image.
    size
        What it says of itself; ``None`` for RLE and deflated frames, which say nothing.
    """

    content: bytes
    size: StreamSize | None


def decode_stream(stream: FrameStream, syntax: str, layout: PixelLayout) -> PixelArray:
    """Decode one frame.

    Parameters
    ----------
    stream
        The frame, its size already compared with the header's.
    syntax
        Transfer syntax UID.
    layout
        The header's pixel layout.

    Returns
    -------
    ndarray
        (rows, columns) of stored values, or (rows, columns, 3) 8-bit RGB.

    Raises
    ------
    Exception
        Whatever the decoder raises at a damaged stream.
    """
    decoded = _DECODERS[syntax](stream, layout)
    if layout.samples_per_pixel == 3:
        ready = syntax in JPEG | {DEFLATED_FRAMES} or not layout.photometric.startswith("YBR_FULL")
        return decoded if ready else ybr_to_rgb(decoded)
    return _stored_values(decoded, stream.size, syntax, layout)


def _stored_values(
    decoded: PixelArray, size: StreamSize | None, syntax: str, layout: PixelLayout
) -> PixelArray:
    stored = decoded.astype(layout.dtype, copy=False)
    signed = bool(layout.pixel_representation)
    if size is None or syntax in JPEG or syntax in JPEG_LOSSLESS:
        return keep_low_bits(stored, layout.bits_stored)
    if syntax in JPEG_LS:  # it knows no sign
        return keep_low_bits(stored, size.bits) if signed else stored
    return stored if size.signed == signed else keep_low_bits(stored, size.bits)


def _jpeg(stream: FrameStream, layout: PixelLayout) -> PixelArray:
    if layout.samples_per_pixel == 1:
        return imagecodecs.jpeg8_decode(stream.content)
    # The stream's own marks come first: writers do label YCbCr streams as RGB.
    stated = stream.size.colour if stream.size else None
    space = stated or ("RGB" if layout.photometric == "RGB" else "YCBCR")
    return imagecodecs.jpeg8_decode(stream.content, colorspace=space, outcolorspace="RGB")


def _jpeg_lossless(stream: FrameStream, layout: PixelLayout) -> PixelArray:
    if layout.samples_per_pixel == 1:
        return imagecodecs.jpeg8_decode(stream.content)
    # Lossless JPEG transforms no colour: naming one space twice keeps the samples as they are.
    return imagecodecs.jpeg8_decode(stream.content, colorspace="RGB", outcolorspace="RGB")


def _jpeg_ls(stream: FrameStream, _layout: PixelLayout) -> PixelArray:
    return imagecodecs.jpegls_decode(stream.content)


def _jpeg_2000(stream: FrameStream, _layout: PixelLayout) -> PixelArray:
    # HTJ2K too: imagecodecs' own decoder for it is twice as fast, but hands out half a frame where
    # a stream is damaged, and lets lossy samples run over the ends of their type.
    return imagecodecs.jpeg2k_decode(stream.content)


def _rle(stream: FrameStream, layout: PixelLayout) -> PixelArray:
    """Decode RLE (PS3.5 G): one segment per byte of a pixel, the most significant first."""
    samples, dtype = layout.samples_per_pixel, layout.dtype
    _check_segments(stream.content, samples * dtype.itemsize)
    planes = np.empty((samples, layout.rows, layout.columns), dtype=dtype)
    imagecodecs.dicomrle_decode(stream.content, dtype, out=planes.data.cast("B"))
    if samples == 1:
        return planes.reshape(layout.rows, layout.columns)
    pixels = np.empty((layout.rows, layout.columns, samples), dtype=dtype)
    for sample, plane in enumerate(planes):
        pixels[..., sample] = plane
    return pixels


def _deflated(stream: FrameStream, layout: PixelLayout) -> PixelArray:
    """Inflate one frame (RFC 1951), which lies inside as it would lie uncompressed."""
    inflater = zlib.decompressobj(-zlib.MAX_WBITS)
    content = inflater.decompress(stream.content, layout.frame_bytes + 1)
    if len(content) != layout.frame_bytes or not inflater.eof:
        raise BrokenStreamError
    stored = np.frombuffer(content, dtype=layout.dtype.newbyteorder("<"))
    samples = stored.astype(layout.dtype)
    if layout.samples_per_pixel == 3:
        return native_colour(samples, layout)
    return samples.reshape(layout.rows, layout.columns)


def _check_segments(content: bytes, expected: int) -> None:
    if len(content) < _RLE_HEADER.size:
        raise BrokenStreamError
    count, *offsets = _RLE_HEADER.unpack_from(content)
    starts = offsets[:expected]
    inside = all(_RLE_HEADER.size <= start <= len(content) for start in starts)
    if count != expected or not inside or starts != sorted(starts):
        raise BrokenStreamError


_DECODERS: dict[str, Callable[[FrameStream, PixelLayout], PixelArray]] = {
    RLE: _rle,
    DEFLATED_FRAMES: _deflated,
    **dict.fromkeys(JPEG, _jpeg),
    **dict.fromkeys(JPEG_LOSSLESS, _jpeg_lossless),
    **dict.fromkeys(JPEG_LS, _jpeg_ls),
    **dict.fromkeys(JPEG_2000 | HTJ2K, _jpeg_2000),
}
