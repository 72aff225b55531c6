"""Frames stored without compression (PS3.5 8.1 and 8.2): read, unpack, nothing else."""

from dataclasses import dataclass

import numpy as np

from annot.errors import LoopError
from annot.loops.colour import native_colour
from annot.loops.dicom_file import DicomFile, PixelElement
from annot.loops.pixel_layout import PixelArray, PixelLayout
from annot.loops.stored_bits import keep_low_bits, uses_high_bits
from annot.loops.transfer_syntaxes import BIG_ENDIAN


@dataclass(frozen=True, slots=True, kw_only=True)
class NativeFrames:
    """The frames of an uncompressed loop, each found by its offset."""

    file: DicomFile
    pixels: PixelElement
    layout: PixelLayout
    held: int
    fault: str | None

    def read(self, frame: int) -> PixelArray:
        """Read one frame, colour as 8-bit RGB.

        Raises
        ------
        LoopError
            If the file does not hold the whole frame.
        """
        layout = self.layout
        self._check_held(frame)
        samples = np.empty(layout.frame_bytes * 8 // layout.bits_allocated, dtype=layout.dtype)
        if self._swapped_words:
            self._read_swapped_words(frame, samples)
        else:
            self._read_into(frame * layout.frame_bytes, samples)
        if self._big_endian:
            samples.byteswap(inplace=True)
        if layout.samples_per_pixel == 3:
            return native_colour(samples, layout)
        return keep_low_bits(samples.reshape(layout.rows, layout.columns), layout.bits_stored)

    def view(self, frame: int) -> PixelArray | None:
        """Map one frame without a copy, ``None`` where what lies there is not what `read` gives."""
        layout = self.layout
        self._check_held(frame)
        stored = layout.dtype.newbyteorder("<")
        as_it_lies = layout.samples_per_pixel == 1 or (
            layout.photometric == "RGB" and not layout.planar
        )
        if not as_it_lies or self._big_endian or not stored.isnative:
            return None
        start = self.pixels.offset + frame * layout.frame_bytes
        count = layout.frame_bytes // stored.itemsize
        samples = np.frombuffer(self.file.source.mapped(), dtype=stored, count=count, offset=start)
        if uses_high_bits(samples, layout.bits_stored):
            return None
        grey = (layout.rows, layout.columns)
        return samples.reshape(grey if layout.samples_per_pixel == 1 else (*grey, 3))

    @property
    def _big_endian(self) -> bool:
        return self.file.transfer_syntax == BIG_ENDIAN

    @property
    def _swapped_words(self) -> bool:
        """8-bit samples inside big-endian 16-bit words lie swapped in pairs."""
        return self._big_endian and self.pixels.words and self.layout.bits_allocated == 8

    def _check_held(self, frame: int) -> None:
        if (frame + 1) * self.layout.frame_bytes > self.held:
            raise LoopError(
                f"{self.file.path.name}: frame {frame} (DICOM frame {frame + 1}) is absent: "
                f"{self.fault}"
            )

    def _read_into(self, start: int, target: PixelArray) -> None:
        place = target.data.cast("B")
        got = self.file.source.read_into(self.pixels.offset + start, place)
        if got < len(place):
            raise LoopError(
                f"{self.file.path.name}: the pixels end before the file says so: copy the file "
                "again from where it was stored."
            )

    def _read_swapped_words(self, frame: int, samples: PixelArray) -> None:
        size = self.layout.frame_bytes
        start = frame * size
        even = start - start % 2
        words = np.zeros((size + start % 2 + 1) // 2, dtype=np.uint16)
        within = min(words.nbytes, self.held - even)
        self._read_into(even, words.view(np.uint8)[:within])
        samples[:] = words.byteswap().view(np.uint8)[start - even : start - even + size]


def native_frames(file: DicomFile, pixels: PixelElement, layout: PixelLayout) -> NativeFrames:
    """Give access to the frames that lie in the file.

    Raises
    ------
    LoopError
        If the pixel data hold not one whole frame.
    """
    if pixels.length is None:
        raise LoopError(
            f"{file.path.name} calls its pixels uncompressed but stores them in fragments: export "
            "the file again."
        )
    fault = shortfall(file, layout)
    held = min(pixels.length, file.source.size - pixels.offset)
    if fault and held < layout.frame_bytes:
        raise LoopError(f"{file.path.name}: {fault}")
    return NativeFrames(file=file, pixels=pixels, layout=layout, held=held, fault=fault)


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
