"""Frames stored compressed: cut one frame's stream out of the file and decode only that."""

from dataclasses import dataclass
from typing import Any

import numpy as np
from pydicom.encaps import encapsulate
from pydicom.pixels.decoders.base import get_decoder

from annot.errors import LoopError
from annot.loops.dicom_file import DicomFile, PixelElement
from annot.loops.frame_index import FrameIndex, index_frames
from annot.loops.native_frames import PixelArray
from annot.loops.pixel_layout import PixelLayout
from annot.loops.quiet import captured_warnings
from annot.loops.stream_size import stream_size
from annot.loops.transfer_syntaxes import JPEG_EXTENDED, RLE, decoding_plugins, syntax_name


@dataclass(frozen=True, slots=True, kw_only=True)
class EncapsulatedFrames:
    """The frames of a compressed loop, found once, decoded one at a time."""

    file: DicomFile
    layout: PixelLayout
    index: FrameIndex

    def read(self, frame: int) -> PixelArray:
        """Decode one frame, colour as 8-bit RGB.

        Raises
        ------
        LoopError
            If the file does not hold the frame, or its stream cannot be decoded.
        """
        place = f"{self.file.path.name}: frame {frame} (DICOM frame {frame + 1})"
        if frame >= len(self.index.frames):
            raise LoopError(
                f"{place} is absent: {self.index.fault}; copy the file again from where it was "
                "stored."
            )
        stream = self._stream(frame)
        self._check_size(stream, place)
        try:
            with captured_warnings():
                pixels = self._decode(stream)
        except Exception as error:
            raise LoopError(
                f"{place} cannot be decoded as {syntax_name(str(self.file.transfer_syntax))} "
                f"({type(error).__name__}): it is damaged or beyond the "
                "installed decoder; copy the file again, or export it uncompressed."
            ) from error
        return self._checked(pixels, place)

    def _stream(self, frame: int) -> bytes:
        with self.file.source.opened() as stream:
            parts = []
            for fragment in self.index.frames[frame]:
                stream.seek(fragment.offset)
                parts.append(stream.read(fragment.length))
        return b"".join(parts)

    def _check_size(self, stream: bytes, place: str) -> None:
        if self.file.transfer_syntax == RLE:
            return
        size, layout = stream_size(stream), self.layout
        if size is None:
            raise LoopError(f"{place} holds no compressed image: copy the file again.")
        if (size.rows, size.columns) != (layout.rows, layout.columns):
            raise LoopError(
                f"{place} is {size.rows} × {size.columns} pixels in its own words but "
                f"{layout.rows} × {layout.columns} in the header: export the file again."
            )
        if size.components != layout.samples_per_pixel:
            raise LoopError(
                f"{place} has {size.components} colour components but the header says "
                f"{layout.samples_per_pixel}: export the file again."
            )
        if size.bits > layout.bits_allocated:
            raise LoopError(
                f"{place} has {size.bits} bits per sample but the header makes room for "
                f"{layout.bits_allocated}: export the file again."
            )

    def _decode(self, stream: bytes) -> PixelArray:
        syntax, layout = str(self.file.transfer_syntax), self.layout
        # `Any`: pydicom declares each option as the dictionary of all of them.
        options: dict[str, Any] = {
            "rows": layout.rows,
            "columns": layout.columns,
            "number_of_frames": 1,
            "samples_per_pixel": layout.samples_per_pixel,
            "bits_allocated": layout.bits_allocated,
            "bits_stored": layout.bits_stored,
            "pixel_representation": layout.pixel_representation,
            "photometric_interpretation": layout.photometric,
            "planar_configuration": int(layout.planar),
            "pixel_keyword": "PixelData",
        }
        pixels, _ = get_decoder(self.file.transfer_syntax).as_array(
            encapsulate([stream], has_bot=False),
            index=0,
            decoding_plugin=decoding_plugins(syntax)[0],
            **options,
        )
        return pixels

    def _checked(self, pixels: PixelArray, place: str) -> PixelArray:
        layout = self.layout
        grey = (layout.rows, layout.columns)
        shape = grey if layout.samples_per_pixel == 1 else (*grey, 3)
        if pixels.shape != shape or pixels.dtype != np.dtype(layout.dtype):
            raise LoopError(
                f"{place} decodes to {pixels.shape} {pixels.dtype} instead of the header's {shape} "
                f"{np.dtype(layout.dtype)}: export the file again."
            )
        return pixels


def encapsulated_frames(
    file: DicomFile, pixels: PixelElement, layout: PixelLayout
) -> EncapsulatedFrames:
    """Find the frames of a compressed loop.

    Raises
    ------
    LoopError
        If not one whole frame can be found, or no installed decoder takes this many bits.
    """
    name, syntax = file.path.name, str(file.transfer_syntax)
    if pixels.length is not None:
        raise LoopError(
            f"{name} names the encoding {syntax_name(syntax)} but its pixels are not compressed: "
            "export the file again."
        )
    if syntax == JPEG_EXTENDED and layout.bits_stored > 8 and _pillow_only(syntax):
        raise LoopError(
            f"{name}: JPEG Extended with {layout.bits_stored} bits needs a decoder that is not "
            "installed: install a pydicom plugin for it (pylibjpeg), or export the loop "
            "uncompressed."
        )
    index = index_frames(
        file.source,
        pixels.offset,
        frames=layout.frames,
        one_fragment_each=syntax == RLE,
        extended_offsets=_extended_offsets(file),
    )
    if not index.frames:
        raise LoopError(f"{name}: {index.fault}; copy the file again from where it was stored.")
    return EncapsulatedFrames(file=file, layout=layout, index=index)


def _pillow_only(syntax: str) -> bool:
    return decoding_plugins(syntax) == ("pillow",)


def _extended_offsets(file: DicomFile) -> tuple[int, ...]:
    table = file.dataset.get("ExtendedOffsetTable")
    if not isinstance(table, bytes) or len(table) % 8:
        return ()
    return tuple(np.frombuffer(table, dtype="<u8").tolist())
