"""Frames stored compressed: cut one frame's stream out of the file and decode only that."""

from dataclasses import dataclass

import numpy as np

from annot.errors import LoopError
from annot.loops.dicom_file import DicomFile, PixelElement
from annot.loops.frame_index import FrameIndex, index_frames
from annot.loops.pixel_layout import PixelArray, PixelLayout
from annot.loops.stream_decoding import FrameStream, decode_stream
from annot.loops.stream_size import StreamSize, stream_size
from annot.loops.transfer_syntaxes import DEFLATED_FRAMES, RLE, syntax_name

# Each frame is one fragment (PS3.5 A.4.2 and A.4.13), for nothing in it marks its start or size.
_SAYS_NO_SIZE = frozenset({RLE, DEFLATED_FRAMES})


@dataclass(frozen=True, slots=True, kw_only=True)
class EncapsulatedFrames:
    """The frames of a compressed loop, found once, decoded one at a time."""

    file: DicomFile
    layout: PixelLayout
    index: FrameIndex

    @property
    def fault(self) -> str | None:
        """Why frames are absent or surplus, as a clause; ``None`` if all is well."""
        return self.index.fault

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
        syntax = str(self.file.transfer_syntax)
        content = self.stream(frame)
        size = None if syntax in _SAYS_NO_SIZE else self._checked_size(content, place)
        try:
            pixels = decode_stream(FrameStream(content=content, size=size), syntax, self.layout)
        except Exception as error:
            raise LoopError(
                f"{place} cannot be decoded as {syntax_name(syntax)} ({type(error).__name__}): it "
                "is damaged or beyond the decoder; copy the file again, or export it uncompressed."
            ) from error
        return self._checked(pixels, place)

    def view(self, _frame: int) -> PixelArray | None:
        """Say that a compressed frame cannot be looked at where it lies."""
        return None

    def stream(self, frame: int) -> bytes:
        """Read one frame's compressed image; `frame` must be in the index."""
        read = self.file.source.read
        parts = [read(part.offset, part.length) for part in self.index.frames[frame]]
        return parts[0] if len(parts) == 1 else b"".join(parts)

    def _checked_size(self, stream: bytes, place: str) -> StreamSize:
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
        if not size.whole:
            raise LoopError(
                f"{place} is cut short: its end mark is missing, so decoding would invent pixels; "
                "copy the file again from where it was stored."
            )
        return size

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
        If not one whole frame can be found.
    """
    name, syntax = file.path.name, str(file.transfer_syntax)
    if pixels.length is not None:
        raise LoopError(
            f"{name} names the encoding {syntax_name(syntax)} but its pixels are not compressed: "
            "export the file again."
        )
    index = index_frames(
        file.source,
        pixels.offset,
        frames=layout.frames,
        one_fragment_each=syntax in _SAYS_NO_SIZE,
        extended_offsets=_extended_offsets(file),
    )
    if not index.frames:
        raise LoopError(f"{name}: {index.fault}; copy the file again from where it was stored.")
    return EncapsulatedFrames(file=file, layout=layout, index=index)


def _extended_offsets(file: DicomFile) -> tuple[int, ...]:
    table = file.dataset.get("ExtendedOffsetTable")
    if not isinstance(table, bytes) or len(table) % 8:
        return ()
    return tuple(np.frombuffer(table, dtype="<u8").tolist())
