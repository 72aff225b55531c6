"""Pixel data in the transfer syntaxes that a loop can be written in."""

from __future__ import annotations

import io
from collections.abc import Callable
from typing import Any

import numpy as np
from numpy.typing import NDArray
from pydicom.dataset import Dataset
from pydicom.encaps import encapsulate
from pydicom.pixels.utils import set_pixel_data
from pydicom.uid import (
    UID,
    HTJ2KLossless,
    ImplicitVRLittleEndian,
    JPEG2000Lossless,
    JPEGBaseline8Bit,
    JPEGLosslessSV1,
    JPEGLSLossless,
    RLELossless,
)

ENCODINGS = (
    "explicit",
    "implicit",
    "rle",
    "jpeg",
    "jpeg-lossless",
    "jpeg-ls",
    "jpeg-2000",
    "htj2k",
)
_JPEG_QUALITY = 92


def put_pixels(header: Dataset, frames: NDArray[Any], *, encoding: str) -> None:
    """Put frames into a header and set everything that depends on the encoding.

    Parameters
    ----------
    header : Dataset
        Changed in place.
    frames : ndarray, shape (frames, rows, columns) or (frames, rows, columns, 3)
        8 or 12 bits.
    encoding : str
        One of `ENCODINGS`; ``jpeg`` keeps the upper 8 of 12 bits.
    """
    if encoding not in ENCODINGS:
        raise ValueError(f"Unknown encoding {encoding!r}: choose one of {', '.join(ENCODINGS)}.")
    if encoding == "jpeg" and frames.dtype != np.uint8:
        frames = (frames >> 4).astype(np.uint8)
    bits = 8 if frames.dtype == np.uint8 else 12
    photometric = "RGB" if frames.ndim == 4 else "MONOCHROME2"
    cine = "FrameIncrementPointer" in header
    stored = frames if cine else frames[0]
    set_pixel_data(header, stored, photometric, bits, generate_instance_uid=False)
    if cine:
        header.NumberOfFrames = len(frames)
    if encoding == "implicit":
        header.file_meta.TransferSyntaxUID = ImplicitVRLittleEndian
    elif encoding == "rle":
        _put_encapsulated(header, [_rle_frame(frame) for frame in frames])
        header.file_meta.TransferSyntaxUID = RLELossless
    elif encoding == "jpeg":
        _put_jpeg(header, frames)
    elif encoding != "explicit":
        _put_lossless(header, frames, encoding=encoding, bits=bits)


def _put_encapsulated(header: Dataset, encoded: list[bytes]) -> None:
    header.PixelData = encapsulate(encoded)
    header["PixelData"].VR = "OB"
    header["PixelData"].is_undefined_length = True


def _put_jpeg(header: Dataset, frames: NDArray[np.uint8]) -> None:
    from PIL import Image

    encoded = []
    for frame in frames:
        stream = io.BytesIO()
        # Subsampling 1 is 4:2:2, the only colour form the standard allows here.
        Image.fromarray(frame).save(stream, "JPEG", quality=_JPEG_QUALITY, subsampling=1)
        encoded.append(stream.getvalue())
    _put_encapsulated(header, encoded)
    header.file_meta.TransferSyntaxUID = JPEGBaseline8Bit
    header.LossyImageCompression = "01"
    header.LossyImageCompressionMethod = "ISO_10918_1"
    ratio = frames.nbytes / sum(len(item) for item in encoded)
    header.LossyImageCompressionRatio = round(ratio, 2)
    if frames.ndim == 4:
        header.PhotometricInterpretation = "YBR_FULL_422"


def _put_lossless(header: Dataset, frames: NDArray[Any], *, encoding: str, bits: int) -> None:
    """Put frames compressed without loss; only JPEG 2000 and HTJ2K transform their colours."""
    import imagecodecs

    colour: dict[str, Any] = {}
    if frames.ndim == 4:
        colour = {"colorspace": "RGB", "outcolorspace": "RGB"}
    encoders: dict[str, tuple[Callable[[NDArray[Any]], Any], UID]] = {
        "jpeg-lossless": (
            lambda frame: imagecodecs.jpeg8_encode(
                frame, lossless=True, predictor=1, bitspersample=bits, **colour
            ),
            JPEGLosslessSV1,
        ),
        "jpeg-ls": (imagecodecs.jpegls_encode, JPEGLSLossless),
        "jpeg-2000": (
            lambda frame: imagecodecs.jpeg2k_encode(
                frame, codecformat="J2K", reversible=True, level=0, bitspersample=bits
            ),
            JPEG2000Lossless,
        ),
        "htj2k": (lambda frame: imagecodecs.htj2k_encode(frame, reversible=True), HTJ2KLossless),
    }
    encode, syntax = encoders[encoding]
    _put_encapsulated(header, [bytes(encode(frame)) for frame in frames])
    header.file_meta.TransferSyntaxUID = syntax
    if frames.ndim == 4 and encoding in ("jpeg-2000", "htj2k"):
        header.PhotometricInterpretation = "YBR_RCT"


def _rle_frame(frame: NDArray[Any]) -> bytes:
    """Return one frame as RLE: a segment per byte of a pixel, most significant first."""
    planes = [frame[..., index] for index in range(frame.shape[-1])] if frame.ndim == 3 else [frame]
    segments = []
    for plane in planes:
        size = plane.dtype.itemsize
        octets = np.ascontiguousarray(plane).view(np.uint8).reshape(*plane.shape, size)
        segments += [_rle_segment(octets[..., size - 1 - place]) for place in range(size)]
    offsets = np.zeros(16, dtype="<u4")
    offsets[0] = len(segments)
    lengths = np.cumsum([64, *(len(segment) for segment in segments[:-1])])
    offsets[1 : 1 + len(segments)] = lengths
    return offsets.tobytes() + b"".join(segments)


def _rle_segment(plane: NDArray[np.uint8]) -> bytes:
    """Return a byte plane, packed row by row: repeats of 3 and more as runs, the rest verbatim."""
    packed = bytearray()
    for row in plane:
        _pack_row(row, packed)
    if len(packed) % 2:
        packed.append(0)
    return bytes(packed)


def _pack_row(row: NDArray[np.uint8], packed: bytearray) -> None:
    edges = np.flatnonzero(np.diff(row)) + 1
    starts = np.concatenate([[0], edges]).tolist()
    ends = [*edges.tolist(), len(row)]
    values = row.tobytes()
    pending = 0
    for start, end in zip(starts, ends, strict=True):
        if end - start < 3:
            continue
        _pack_literal(values[pending:start], packed)
        for first in range(start, end, 128):
            count = min(128, end - first)
            packed += (
                bytes(((257 - count) % 256, values[start]))
                if count > 1
                else bytes((0, values[start]))
            )
        pending = end
    _pack_literal(values[pending:], packed)


def _pack_literal(values: bytes, packed: bytearray) -> None:
    for first in range(0, len(values), 128):
        piece = values[first : first + 128]
        packed.append(len(piece) - 1)
        packed += piece
