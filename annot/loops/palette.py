"""Palette colour: from stored index to 8-bit RGB, through one table made when a loop is opened."""

from typing import Any

import numpy as np
import numpy.typing as npt
from pydicom.pixels.processing import apply_color_lut

from annot.errors import LoopError
from annot.loops.dicom_file import DicomFile
from annot.loops.pixel_layout import PixelLayout
from annot.loops.quiet import captured_warnings
from annot.loops.transfer_syntaxes import BIG_ENDIAN


def palette_table(file: DicomFile, layout: PixelLayout) -> npt.NDArray[np.uint8]:
    """RGB of every index that the stored bits can hold, as (indices, 3).

    Entries of 16 bits are brought to 8 by dropping the low byte, unless none of them uses the high
    byte (files exist that declare 16 bits and hold 8).

    Raises
    ------
    LoopError
        If the file's palette is missing or broken.
    """
    indices = np.arange(2**layout.bits_stored, dtype=layout.dtype)
    try:
        with captured_warnings():
            table: npt.NDArray[Any] = apply_color_lut(indices, file.dataset)
    except Exception as error:
        raise LoopError(
            f"{file.path.name}: the colour palette is missing or broken, so its colours cannot be "
            "shown: export the file again."
        ) from error
    if file.transfer_syntax == BIG_ENDIAN and "RedPaletteColorLookupTableData" in file.dataset:
        # pydicom reads a plain (not a segmented) table in the machine's order, which is little.
        table = table.byteswap()
    if table.max() > 255:
        table = table >> 8
    return np.ascontiguousarray(table[:, :3], dtype=np.uint8)
