"""A cine loop: header now, one frame's pixels when asked."""

from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from typing import Protocol

import numpy as np

from annot.errors import LoopError
from annot.loops.attributes import Attributes
from annot.loops.dicom_file import DicomFile, parse_file
from annot.loops.display import Display
from annot.loops.display_reading import read_display, read_masks
from annot.loops.encapsulated_frames import encapsulated_frames
from annot.loops.functional_groups import unfolded
from annot.loops.header import LoopHeader
from annot.loops.header_reading import describe
from annot.loops.native_frames import native_frames
from annot.loops.palette import palette_table
from annot.loops.pixel_layout import PixelArray, PixelLayout
from annot.loops.subtraction import MaskOperation
from annot.loops.transfer_syntaxes import (
    NATIVE,
    colour_fits,
    is_video,
    missing_decoder,
    syntax_name,
)
from annot.loops.video_frames import video_frames
from annot.vocabulary import FrameReference


class FrameSource(Protocol):
    """Whatever can decode a frame of one loop, from any thread."""

    @property
    def fault(self) -> str | None:
        """Why frames are absent or surplus, as a clause; ``None`` if all is well."""

    def read(self, frame: int) -> PixelArray:
        """Decode one frame that lies within the header's count."""

    def view(self, frame: int) -> PixelArray | None:
        """Give one frame as it lies in the file, ``None`` where it has to be decoded."""


class Loop:
    """One stored loop; `frame` is the only way to its pixels.

    Parameters
    ----------
    header
        What the file says about itself.
    layout
        Its pixel layout.
    source
        What decodes frames.
    palette
        8-bit RGB per stored index, for palette colour only.
    display, masks
        What the file says about showing its frames; measurements never use it.
    """

    def __init__(
        self,
        header: LoopHeader,
        layout: PixelLayout,
        source: FrameSource,
        *,
        palette: PixelArray | None = None,
        display: Display | None = None,
        masks: tuple[MaskOperation, ...] = (),
    ) -> None:
        self.display = display or Display()
        self.masks = masks
        self.header = header
        self._layout = layout
        self._source = source
        self._palette = palette

    def __repr__(self) -> str:
        return f"<Loop {self.header.path.name}: {self.shape} {self.dtype}>"

    @property
    def frames(self) -> int:
        """Number of frames the header claims."""
        return self.header.frames

    @property
    def shape(self) -> tuple[int, ...]:
        """(frames, rows, columns), with a last axis of 3 for colour."""
        grey = (self.header.frames, self.header.rows, self.header.columns)
        return (*grey, 3) if self.header.colour else grey

    @property
    def dtype(self) -> np.dtype[np.generic]:
        """Stored type for grey, ``uint8`` for colour."""
        return np.dtype(np.uint8) if self.header.colour else self._layout.dtype

    def frame(self, n: int) -> PixelArray:
        """Decode one frame; may be called from any thread.

        Parameters
        ----------
        n
            Frame index from 0.

        Returns
        -------
        ndarray
            Read-only. (rows, columns) of stored values for grey; (rows, columns, 3) 8-bit RGB
            for colour.

        Raises
        ------
        LoopError
            If the frame does not exist or cannot be decoded.
        """
        pixels = self._reached(n, self._source.read)
        assert pixels is not None  # only a view may be refused
        if self._palette is not None:
            pixels = self._palette[pixels]
        pixels.setflags(write=False)
        return pixels

    def reference(self, n: int) -> FrameReference:
        """Name the stored image and the frame in it, for a number to be walked back to."""
        return self.header.reference(n)

    def view(self, n: int) -> PixelArray | None:
        """Look at one frame where it lies in the file, without a copy.

        Reading from the view reads from the file: if a disc is pulled out or the file is cut short
        meanwhile, the system ends the program. `frame` has no such danger.

        Parameters
        ----------
        n
            Frame index from 0.

        Returns
        -------
        ndarray or None
            Read-only, the same values as `frame`; ``None`` if the frame has to be decoded, has to
            change its colour, or has bits to be cleared above the stored ones.

        Raises
        ------
        LoopError
            If the frame does not exist.
        """
        return None if self._palette is not None else self._reached(n, self._source.view)

    def _reached(self, n: int, reach: Callable[[int], PixelArray | None]) -> PixelArray | None:
        name = self.header.path.name
        if not 0 <= n < self.frames:
            raise LoopError(
                f"{name} has no frame {n}: it has {self.frames}, counted from 0 to "
                f"{self.frames - 1}."
            )
        try:
            return reach(n)
        except OSError as error:
            raise LoopError(
                f"{name}: frame {n} cannot be read any more: {error.strerror or error}."
            ) from error


def open_loop(path: Path | str) -> Loop:
    """Open a cine loop (or a single image, as a loop of one frame).

    Parameters
    ----------
    path
        A DICOM file.

    Raises
    ------
    LoopError
        If the file is no DICOM image, contradicts itself, is cut short, or is encoded in a way
        that no installed decoder reads; the sentence says which.
    """
    file = parse_file(Path(path))
    header, layout = describe(file)
    palette = palette_table(file, layout) if layout.photometric == "PALETTE COLOR" else None
    source = _frame_source(file, layout)
    if source.fault:
        note = f"{source.fault[0].upper()}{source.fault[1:].removesuffix('.')}."
        if note not in header.warnings:
            header = replace(header, warnings=(*header.warnings, note))
    notes: list[str] = []
    attributes = Attributes(unfolded(file.dataset, [], frames=layout.frames), notes)
    display, masks = read_display(attributes, layout), read_masks(attributes)
    return Loop(
        header,
        layout,
        source,
        palette=palette,
        display=replace(display, notes=tuple(notes)),
        masks=masks,
    )


def _frame_source(file: DicomFile, layout: PixelLayout) -> FrameSource:
    syntax = str(file.transfer_syntax)
    missing = missing_decoder(syntax)
    if missing:
        raise LoopError(f"{file.path.name}: {missing}")
    if not colour_fits(layout.photometric, syntax):
        raise LoopError(
            f"{file.path.name}: colours stored as {layout.photometric} do not exist in the "
            f"encoding {syntax_name(syntax)}: export the file again."
        )
    assert file.pixels is not None  # `describe` refuses files without pixel data
    if is_video(syntax):
        return video_frames(file, file.pixels, layout)
    if syntax in NATIVE:
        return native_frames(file, file.pixels, layout)
    return encapsulated_frames(file, file.pixels, layout)
