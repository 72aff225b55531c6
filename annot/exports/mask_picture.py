"""A picture by which a person judges a mask: what the loop shows, and what the copy would show.

The brightest and the darkest of all frames, so that a text that appears only for a moment is there
too, and all that differs from the ground however faintly, which no screen would show; above as
stored with what is to go dyed, below as the copy would have it.
"""

import io
from typing import Any

import numpy as np
import numpy.typing as npt
from PIL import Image

from annot.loops import Loop
from annot.reads.blinding import PictureMask, masked

DYE = np.array([255, 60, 60])
GAP = 6


def mask_picture(loop: Loop, mask: PictureMask) -> bytes:
    """Return the picture as PNG; every frame of the loop is decoded once.

    Raises
    ------
    LoopError
        If a frame cannot be decoded.
    InputError
        If the mask does not fit the loop's picture.
    """
    kept = mask.visible(loop.header.rows, loop.header.columns)
    brightest = darkest = loop.frame(0)
    for number in range(1, loop.frames):
        frame = loop.frame(number)
        brightest, darkest = np.maximum(brightest, frame), np.minimum(darkest, frame)
    top = max(1.0, float(brightest.max()))
    lowest = min(0.0, float(darkest.min()))
    above, below = [], []
    pictures = [_colour(one, lowest, top) for one in (brightest, darkest)]
    for picture in (*pictures, _faint(brightest)):
        above.append(_dyed(picture, kept))
        below.append(masked(picture, kept))
    whole = _stacked([_beside(above), _beside(below)])
    stream = io.BytesIO()
    Image.fromarray(whole).save(stream, "PNG")
    return stream.getvalue()


def _colour(picture: npt.NDArray[Any], lowest: float, top: float) -> npt.NDArray[np.uint8]:
    if picture.ndim == 3:
        return picture.astype(np.uint8)
    grey = (255.0 * (picture.astype(float) - lowest) / (top - lowest)).astype(np.uint8)
    return np.repeat(grey[..., None], 3, axis=2)


def _faint(picture: npt.NDArray[Any]) -> npt.NDArray[np.uint8]:
    """Return in white whatever is not of the picture's commonest value."""
    grey = picture.max(axis=2) if picture.ndim == 3 else picture
    values, counts = np.unique(grey, return_counts=True)
    differs = grey != values[int(np.argmax(counts))]
    return np.repeat((255 * differs).astype(np.uint8)[..., None], 3, axis=2)


def _dyed(picture: npt.NDArray[np.uint8], kept: npt.NDArray[np.bool_]) -> npt.NDArray[np.uint8]:
    result = picture.copy()
    result[~kept] = (0.6 * picture[~kept] + 0.4 * DYE).astype(np.uint8)
    return result


def _beside(pictures: list[npt.NDArray[Any]]) -> npt.NDArray[np.uint8]:
    gap = np.full((pictures[0].shape[0], GAP, 3), 128, dtype=np.uint8)
    return np.concatenate([pictures[0], gap, pictures[1], gap, pictures[2]], axis=1)


def _stacked(rows: list[npt.NDArray[np.uint8]]) -> npt.NDArray[np.uint8]:
    gap = np.full((GAP, rows[0].shape[1], 3), 128, dtype=np.uint8)
    return np.concatenate([rows[0], gap, rows[1]], axis=0)
