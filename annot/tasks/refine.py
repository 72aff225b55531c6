"""Propose where a read's drawn ends would lie on the walls' edges; change nothing."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from annot.calibration import LoopScale, PixelScale
from annot.loops import Loop, refuse_outside
from annot.measurement import Caliper
from annot.measurement.edge_fit import NoEdge
from annot.measurement.refine import Refinement, refine_end, with_refinements
from annot.reads import Read
from annot.tasks.measure import opened_with_scales

__all__ = ["Proposal", "accepted", "full_scale_of", "grey_of", "proposals_of", "refinements_of"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Proposal:
    """One end with the shift that the picture proposes, or why it proposes none.

    `shift_mm` is None without a scale.
    """

    file: str
    caliper: Caliper
    end: int
    found: Refinement | NoEdge
    shift_mm: float | None = None

    def as_dict(self) -> dict[str, object]:
        """Return the answer for machines."""
        found = self.found if isinstance(self.found, Refinement) else None
        return {
            "loop": self.file,
            "caliper_id": self.caliper.key,
            "quantity": self.caliper.measurand.name,
            "frame": self.caliper.frame.frame,
            "end": self.end,
            "shift_px": found.shift_px if found else None,
            "shift_mm": self.shift_mm,
            "u_px": found.u_px if found else None,
            "within_a_pixel": found.within_a_pixel if found else None,
            "contrast_to_noise": found.contrast_to_noise if found else None,
            "point_px": [found.point.row, found.point.column] if found else None,
            "reason": None if isinstance(self.found, Refinement) else self.found.reason,
        }


def refinements_of(
    read: Read, folder: Path, *, progress: Callable[[str], None] = lambda _: None
) -> list[Proposal]:
    """Look for the wall's edge at both ends of every drawn length of a read.

    Raises
    ------
    AnnotError
        As `measure_read` does.
    """
    loops, scales = opened_with_scales(read, folder, progress)
    proposals = []
    for part in read.loops:
        loop = loops[part.file]
        for caliper in part.calipers:
            if caliper.measurand.kind == "length" and caliper.origin == "drawn":
                proposals += proposals_of(loop, caliper, scales[part.file], file=part.file)
    return proposals


def proposals_of(loop: Loop, caliper: Caliper, scale: LoopScale, *, file: str) -> list[Proposal]:
    """Look for the wall's edge at both ends of one drawn length; the caliper stays as it is.

    Raises
    ------
    InputError
        If it is no length.
    """
    number = caliper.frame.frame
    refuse_outside(loop.header, number, caliper.points, what=f"caliper {caliper.key}")
    frame = grey_of(loop.frame(number))
    here = scale.at(caliper.points, frame=number)
    proposals = []
    for end in _ends(caliper):
        found = refine_end(
            frame,
            caliper,
            end,
            modality=loop.header.modality,
            full_scale=full_scale_of(loop),
        )
        shift_mm = _shift_mm(caliper, end, found, here)
        proposals.append(
            Proposal(file=file, caliper=caliper, end=end, found=found, shift_mm=shift_mm)
        )
    return proposals


def accepted(caliper: Caliper, proposals: Sequence[Proposal]) -> Caliper:
    """Return the caliper with every proposed end that was found moved to its edge."""
    found = {one.end: one.found for one in proposals if isinstance(one.found, Refinement)}
    return with_refinements(caliper, found)


def _ends(caliper: Caliper) -> tuple[int, ...]:
    """Return the ends that lie on a wall."""
    last = len(caliper.points) - 1
    return (0, last) if caliper.measurand.first_end == "wall" else (last,)


def _shift_mm(
    caliper: Caliper, end: int, found: Refinement | NoEdge, scale: object
) -> float | None:
    if isinstance(found, NoEdge) or not isinstance(scale, PixelScale):
        return None
    here = caliper.points[end]
    away = np.hypot(
        (found.point.row - here.row) * scale.row.value,
        (found.point.column - here.column) * scale.column.value,
    )
    return float(np.copysign(away, found.shift_px))


def grey_of(frame: NDArray[np.generic]) -> NDArray[np.generic]:
    """Return a frame in grey: the mean of its colours."""
    return frame if frame.ndim == 2 else np.asarray(frame, dtype=float).mean(axis=2)


def full_scale_of(loop: Loop) -> float:
    """Return the grey value of white."""
    return 255.0 if loop.header.colour else float(2**loop.header.bits_stored - 1)
