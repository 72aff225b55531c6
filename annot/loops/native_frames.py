"""Frames stored without compression (PS3.5 8.1 and 8.2): read, unpack, nothing else."""

from dataclasses import dataclass
from typing import Any

import numpy as np
import numpy.typing as npt
from pydicom.pixels.processing import convert_color_space

from annot.errors import LoopError
from annot.loops.byte_source import ByteSource
from annot.loops.dicom_file import DicomFile, PixelElement
from annot.loops.pixel_layout import PixelLayout
from annot.loops.transfer_syntaxes import BIG_ENDIAN

PixelArray = npt.NDArray[Any]


@dataclass(frozen=True, slots=True, kw_only=True)
class NativeFrames:
    """The frames of an uncompressed loop, each found by its offset."""

    source: ByteSource
    pixels: PixelElement
    layout: PixelLayout
    big_endian: bool

    def read(self, frame: int) -> PixelArray:
        """Read one frame, colour as 8-bit RGB; `frame` must exist (see `native_frames`)."""
        stored = self._frame_bytes(frame)
        if len(stored) < self.layout.frame_bytes:
            raise LoopError(f"Frame {frame} is gone: the file became shorter since it was opened.")
        return unpack(stored, self.layout, big_endian=self.big_endian)

    def _frame_bytes(self, frame: int) -> bytes:
        size = self.layout.frame_bytes
        start = frame * size
        if not (self.big_endian and self.pixels.words and self.layout.bits_allocated == 8):
            return self.source.read(self.pixels.offset + start, size)
        # 8-bit samples inside big-endian 16-bit words lie swapped in pairs.
        even = start - start % 2
        stored = self.source.read(self.pixels.offset + even, size + start % 2 + 1)
        stored += b"\0" * (len(stored) % 2)
        swapped = np.frombuffer(stored, dtype=np.uint16).byteswap().tobytes()
        return swapped[start - even : start - even + size]


def native_frames(file: DicomFile, pixels: PixelElement, layout: PixelLayout) -> NativeFrames:
    """Check that every frame the header claims lies in the file, and give access to them.

    Raises
    ------
    LoopError
        If the pixel data are shorter than the header says.
    """
    if pixels.length is None:
        raise LoopError(
            f"{file.path.name} calls its pixels uncompressed but stores them in fragments: export "
            "the file again."
        )
    fault = shortfall(file, layout)
    if fault:
        raise LoopError(f"{file.path.name}: {fault}")
    return NativeFrames(
        source=file.source,
        pixels=pixels,
        layout=layout,
        big_endian=file.transfer_syntax == BIG_ENDIAN,
    )


def shortfall(file: DicomFile, layout: PixelLayout) -> str | None:
    """Say by how much native pixel data fall short of what the header claims, if they do."""
    if file.pixels is None or file.pixels.length is None:
        return None
    held = min(file.pixels.length, file.source.size - file.pixels.offset)
    claimed = layout.frames * layout.frame_bytes
    if held >= claimed:
        return None
    return (
        f"the header claims {layout.frames} frames of {layout.frame_bytes} bytes but the file "
        f"holds {held} bytes of pixels, enough for {held // layout.frame_bytes}; "
        "copy the file again from where it was stored."
    )


def unpack(stored: bytes, layout: PixelLayout, *, big_endian: bool = False) -> PixelArray:
    """Turn the bytes of one native frame into an array.

    Parameters
    ----------
    stored
        Exactly one frame.
    layout
        Its layout.
    big_endian
        Byte order of samples longer than a byte.

    Returns
    -------
    ndarray
        (rows, columns), or (rows, columns, 3) 8-bit RGB.
    """
    dtype = np.dtype(layout.dtype)
    stored_dtype = dtype.newbyteorder(">") if big_endian else dtype.newbyteorder("<")
    samples = np.frombuffer(stored, dtype=stored_dtype).astype(dtype, copy=False)
    if layout.samples_per_pixel == 1:
        return _without_unused_bits(samples.reshape(layout.rows, layout.columns), layout)
    colour = _interleaved(samples, layout)
    if layout.photometric.startswith("YBR_FULL"):
        return np.asarray(convert_color_space(colour, "YBR_FULL", "RGB"))
    return colour


def _interleaved(samples: PixelArray, layout: PixelLayout) -> PixelArray:
    rows, columns = layout.rows, layout.columns
    if layout.photometric == "YBR_FULL_422":
        # Y Y Cb Cr for each pair of pixels (PS3.3 C.7.6.3.1.2): the pair shares its colour.
        pairs = samples.reshape(-1, 4)
        full = np.empty((len(pairs), 2, 3), dtype=samples.dtype)
        full[:, :, 0] = pairs[:, :2]
        full[:, :, 1:] = pairs[:, None, 2:]
        return full.reshape(rows, columns, 3)
    if layout.planar:
        return np.ascontiguousarray(samples.reshape(3, rows, columns).transpose(1, 2, 0))
    return samples.reshape(rows, columns, 3)


def _without_unused_bits(samples: PixelArray, layout: PixelLayout) -> PixelArray:
    """Clear what lies above the stored bits (old files keep overlays there), keeping the sign."""
    unused = layout.bits_allocated - layout.bits_stored
    return samples if unused == 0 else (samples << unused) >> unused
