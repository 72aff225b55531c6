"""How the table moves during an X-ray loop, as far as its header says.

Source: PS3.3 C.8.7.4 (X-Ray Table). The names are an operator's who stands beside the table:
longitudinal is across the patient (positive to the left), lateral along it (positive to the head).
"""

from dataclasses import dataclass
from pathlib import Path

from annot.errors import LoopError
from annot.loops.attributes import Attributes
from annot.loops.dicom_file import parse_file


@dataclass(frozen=True, slots=True, kw_only=True)
class TableMotion:
    """Increments of the table's position relative to the first frame, in mm.

    Attributes
    ----------
    moving : bool
        Whether the header calls the table moving.
    left_mm, head_mm, vertical_mm : tuple of float
        One per frame; empty where the header states none.
    """

    moving: bool = False
    left_mm: tuple[float, ...] = ()
    head_mm: tuple[float, ...] = ()
    vertical_mm: tuple[float, ...] = ()

    def patient_shift_mm(self, frame: int, *, name: str) -> tuple[float, float, float]:
        """Return how far table and patient have moved since the first frame: left, back, head.

        Raises
        ------
        LoopError
            If the table moves and the header does not say how far, or moves it up or down: the
            sign of that increment differs between writers, so it is not guessed.
        """
        if not self.moving or frame == 0:
            return (0.0, 0.0, 0.0)
        known = [part for part in (self.left_mm, self.head_mm, self.vertical_mm) if part]
        if not known or any(frame >= len(part) for part in known):
            raise LoopError(
                f"{name}: the table moves and the header does not say where it stood at frame "
                f"{frame}, so this view cannot be set against another: take another frame or loop."
            )
        if self.vertical_mm and abs(self.vertical_mm[frame]) > 0:
            raise LoopError(
                f"{name}: the table moved up or down before frame {frame}, in a direction that the "
                "header does not make certain: take frame 0 or another loop."
            )
        left = self.left_mm[frame] if self.left_mm else 0.0
        head = self.head_mm[frame] if self.head_mm else 0.0
        return (left, 0.0, head)


def read_table_motion(path: Path) -> TableMotion:
    """Read the table's motion from a loop's header; no pixel is read.

    Raises
    ------
    LoopError
        If the file cannot be read.
    """
    attributes = Attributes(parse_file(path).dataset, [])
    return TableMotion(
        moving=attributes.one_of("TableMotion", ("STATIC", "DYNAMIC")) == "DYNAMIC",
        left_mm=attributes.numbers("TableLongitudinalIncrement") or (),
        head_mm=attributes.numbers("TableLateralIncrement") or (),
        vertical_mm=attributes.numbers("TableVerticalIncrement") or (),
    )
