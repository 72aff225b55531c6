"""How the pixels of a loop are laid out, checked before anything is allocated."""

from dataclasses import dataclass
from typing import Any

import numpy as np
import numpy.typing as npt

from annot.errors import LoopError
from annot.loops.attributes import Attributes

PixelArray = npt.NDArray[Any]

# Over an hour at 25 frames a second: a larger count is a fault of the file, not a cine loop.
MOST_FRAMES = 100_000
# Sixteen times the largest X-ray matrix in use (from memory); beyond it a header is a fault.
MOST_PIXELS = 1 << 26
_BITS = (8, 16, 32)
_DTYPES = {
    (signed, bits): np.dtype(f"{kind}{bits // 8}")
    for signed, kind in enumerate("ui")
    for bits in _BITS
}
_SAMPLES = {
    "MONOCHROME1": 1,
    "MONOCHROME2": 1,
    "PALETTE COLOR": 1,
    "RGB": 3,
    "YBR_FULL": 3,
    "YBR_FULL_422": 3,
    "YBR_RCT": 3,
    "YBR_ICT": 3,
    "YBR_PARTIAL_420": 3,  # videos only
}


@dataclass(frozen=True, slots=True, kw_only=True)
class PixelLayout:
    """The Image Pixel module (PS3.3 C.7.6.3) of a loop, free of contradictions.

    Attributes
    ----------
    planar
        Whether colour planes follow each other instead of alternating per pixel.
    """

    rows: int
    columns: int
    frames: int
    samples_per_pixel: int
    bits_allocated: int
    bits_stored: int
    pixel_representation: int
    photometric: str
    planar: bool = False

    @property
    def dtype(self) -> np.dtype[Any]:
        """Stored type of one sample, in the machine's byte order."""
        return _DTYPES[self.pixel_representation, self.bits_allocated]

    @property
    def frame_bytes(self) -> int:
        """Bytes of one native frame; YBR_FULL_422 stores its colour for every other pixel."""
        samples = 2 if self.photometric == "YBR_FULL_422" else self.samples_per_pixel
        return self.rows * self.columns * samples * self.bits_allocated // 8


def read_pixel_layout(attributes: Attributes, *, file_name: str) -> PixelLayout:
    """Read and check the pixel layout.

    Raises
    ------
    LoopError
        If an attribute needed to find a pixel is missing, unreadable or contradicts another.
    """
    photometric = attributes.text("PhotometricInterpretation")
    layout = PixelLayout(
        rows=_needed(attributes, "Rows", file_name),
        columns=_needed(attributes, "Columns", file_name),
        frames=_frames(attributes, file_name),
        samples_per_pixel=_needed(attributes, "SamplesPerPixel", file_name),
        bits_allocated=_needed(attributes, "BitsAllocated", file_name),
        bits_stored=_needed(attributes, "BitsStored", file_name),
        pixel_representation=_needed(attributes, "PixelRepresentation", file_name),
        photometric=photometric or "",
        planar=attributes.whole("PlanarConfiguration") == 1,
    )
    fault = _contradiction(layout, attributes.whole("HighBit"))
    if fault:
        raise LoopError(f"{file_name}: {fault}; the file cannot be shown, so export it again.")
    return layout


def _needed(attributes: Attributes, keyword: str, file_name: str) -> int:
    value = attributes.whole(keyword)
    if value is None:
        raise LoopError(
            f"{file_name}: {keyword} is missing or unreadable, so there is no image in the file "
            "that could be shown."
        )
    return value


def _frames(attributes: Attributes, file_name: str) -> int:
    if not attributes.present("NumberOfFrames") or attributes.empty("NumberOfFrames"):
        return 1
    frames = attributes.whole("NumberOfFrames")
    if frames is None or not 1 <= frames <= MOST_FRAMES:
        raise LoopError(
            f"{file_name}: NumberOfFrames is not a whole number from 1 to {MOST_FRAMES}, "
            "so the frames cannot be counted: export the file again."
        )
    return frames


def _contradiction(layout: PixelLayout, high_bit: int | None) -> str | None:
    samples = _SAMPLES.get(layout.photometric)
    checks = (
        (
            layout.rows > 0 and layout.columns > 0 and layout.rows * layout.columns <= MOST_PIXELS,
            f"the image is {layout.rows} × {layout.columns} pixels",
        ),
        (
            samples is not None,
            f"photometric interpretation {layout.photometric[:20]!r} is not one that loops use",
        ),
        (
            samples == layout.samples_per_pixel,
            f"{layout.photometric[:20]} has {layout.samples_per_pixel} samples per pixel",
        ),
        (
            layout.bits_allocated in _BITS,
            f"{layout.bits_allocated} bits are allocated, not one of {_BITS}",
        ),
        (
            1 <= layout.bits_stored <= layout.bits_allocated,
            f"{layout.bits_stored} bits are stored in {layout.bits_allocated}",
        ),
        (
            high_bit is None or high_bit == layout.bits_stored - 1,
            f"the high bit is {high_bit} with {layout.bits_stored} bits stored",
        ),
        (
            layout.pixel_representation in (0, 1),
            f"pixel representation is {layout.pixel_representation}",
        ),
        (
            layout.photometric.startswith("MONO") or _is_colour_type(layout),
            f"{layout.photometric} in {layout.bits_allocated} bits is not read, only in 8 unsigned "
            "bits (palette indices also in 16)",
        ),
    )
    return next((sentence for holds, sentence in checks if not holds), None)


def _is_colour_type(layout: PixelLayout) -> bool:
    if layout.pixel_representation:
        return False
    if layout.photometric == "PALETTE COLOR":
        return layout.bits_allocated <= 16
    return layout.bits_allocated == 8
