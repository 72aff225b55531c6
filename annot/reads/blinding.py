"""What of a picture a blinded reader may see, and when a person must have looked at it first.

Burned-in text lies outside the measuring area as a rule: an ultrasound picture keeps its declared
regions, everything else goes black in every frame. What a header says of burned-in text
(BurnedInAnnotation, PS3.3 C.7.6.1) is believed of X-ray loops only, and only where it says NO.
"""

import hashlib
import json
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from annot.errors import InputError
from annot.loops import LoopHeader, UltrasoundRegion

Box = tuple[int, int, int, int]
# Tissue or flow, M-mode, spectral, waveform; graphics (5) and none (0) are no measuring area.
MEASURING_FORMATS = frozenset({1, 2, 3, 4})
_XRAY = frozenset({"XA", "RF"})


@dataclass(frozen=True, slots=True, kw_only=True)
class PictureMask:
    """What stays visible of every frame: inside a `shown` box and outside each `hidden` one.

    A box is (first row, first column, last row, last column), inclusive and from 0.
    """

    shown: tuple[Box, ...]
    hidden: tuple[Box, ...] = ()

    @property
    def digest(self) -> str:
        """SHA-256 of the boxes, by which a confirmation is tied to this mask and no other."""
        text = json.dumps([[list(one) for one in part] for part in (self.shown, self.hidden)])
        return hashlib.sha256(text.encode()).hexdigest()

    def visible(self, rows: int, columns: int) -> npt.NDArray[np.bool_]:
        """Return which pixels (rows, columns) stay.

        Raises
        ------
        InputError
            If a box leaves the picture or ends before it begins.
        """
        kept = np.zeros((rows, columns), dtype=bool)
        for boxes, value in ((self.shown, True), (self.hidden, False)):
            for box in boxes:
                _refuse_outside(box, rows, columns)
                kept[box[0] : box[2] + 1, box[1] : box[3] + 1] = value
        return kept


def masked(frame: npt.NDArray[np.generic], kept: npt.NDArray[np.bool_]) -> npt.NDArray[np.generic]:
    """Return a copy of a frame in which what is not kept is 0; everything else is untouched."""
    result = frame.copy()
    result[~kept] = 0
    return result


def default_mask(header: LoopHeader) -> PictureMask:
    """Return the mask that a loop's header suggests.

    Ultrasound shows its declared regions that lie within the picture, and nothing where there are
    none; any other picture shows everything.
    """
    if header.modality == "US":
        regions = [one for one in header.regions if _measures(one, header)]
        return PictureMask(shown=tuple(_box(one) for one in regions))
    return PictureMask(shown=((0, 0, header.rows - 1, header.columns - 1),))


def needs_look(header: LoopHeader) -> bool:
    """Tell whether a person must look at the masked picture before it may leave.

    An X-ray loop whose header says that nothing is burned in needs nobody. Echo always does, for
    its screens carry text as a rule, and so does every picture whose header does not say NO.
    """
    return not (header.modality in _XRAY and header.burned_in is False)


def _measures(region: UltrasoundRegion, header: LoopHeader) -> bool:
    inside = region.inside(header.rows, header.columns)
    return inside and region.spatial_format in MEASURING_FORMATS


def _box(region: UltrasoundRegion) -> Box:
    return region.min_y0, region.min_x0, region.max_y1, region.max_x1


def _refuse_outside(box: Box, rows: int, columns: int) -> None:
    top, left, bottom, right = box
    if not (0 <= top <= bottom < rows and 0 <= left <= right < columns):
        raise InputError(
            f"The box {top},{left},{bottom},{right} does not lie in a picture of {rows} rows and "
            f"{columns} columns: give first row, first column, last row and last column, from 0."
        )
