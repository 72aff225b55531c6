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
        if frame >= len(self.index.frames):
            raise self._refused(
                frame,
                f"is absent: {self.index.fault}; copy the file again from where it was stored.",
            )
        syntax = str(self.file.transfer_syntax)
        content = self.stream(frame)
        size = None if syntax in _SAYS_NO_SIZE else self._checked_size(content, frame)
        try:
            pixels = decode_stream(FrameStream(content=content, size=size), syntax, self.layout)
        except Exception as error:
            raise self._refused(
                frame,
                f"cannot be decoded as {syntax_name(syntax)} ({type(error).__name__}): it is "
                "damaged or beyond the decoder; copy the file again, or export it uncompressed.",
            ) from error
        return self._checked(pixels, frame)

    def view(self, _frame: int) -> PixelArray | None:
        """Say that a compressed frame cannot be looked at where it lies."""
        return None

    def stream(self, frame: int) -> bytes:
        """Read one frame's compressed image; `frame` must be in the index."""
        read = self.file.source.read
        parts = [read(part.offset, part.length) for part in self.index.frames[frame]]
        return parts[0] if len(parts) == 1 else b"".join(parts)

    def _refused(self, frame: int, why: str) -> LoopError:
        return LoopError(f"{self.file.path.name}: frame {frame} (DICOM frame {frame + 1}) {why}")

    def _checked_size(self, stream: bytes, frame: int) -> StreamSize:
        size = stream_size(stream)
        if size is None:
            raise self._refused(frame, "holds no compressed image: copy the file again.")
        fault = _contradiction(size, self.layout)
        if fault:
            raise self._refused(frame, f"{fault}: export the file again.")
        if not size.whole:
            raise self._refused(
                frame,
                "is cut short: its end mark is missing, so decoding would invent pixels; copy the "
                "file again from where it was stored.",
            )
        return size

    def _checked(self, pixels: PixelArray, frame: int) -> PixelArray:
        layout = self.layout
        grey = (layout.rows, layout.columns)
        shape = grey if layout.samples_per_pixel == 1 else (*grey, 3)
        if pixels.shape != shape or pixels.dtype != layout.dtype:
            raise self._refused(
                frame,
                f"decodes to {pixels.shape} {pixels.dtype} instead of the header's {shape} "
                f"{layout.dtype}: export the file again.",
            )
        return pixels


def _contradiction(size: StreamSize, layout: PixelLayout) -> str:
    """Say what a stream claims that its header does not; nothing was allocated for it yet."""
    if (size.rows, size.columns) != (layout.rows, layout.columns):
        return (
            f"is {size.rows} × {size.columns} pixels in its own words but {layout.rows} × "
            f"{layout.columns} in the header"
        )
    if size.components != layout.samples_per_pixel:
        return (
            f"has {size.components} colour components but the header says "
            f"{layout.samples_per_pixel}"
        )
    if size.bits > layout.bits_allocated:
        return (
            f"has {size.bits} bits per sample but the header makes room for {layout.bits_allocated}"
        )
    return ""


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
