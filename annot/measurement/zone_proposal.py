"""Where the landing zone lies by rule, and where the walls' edges end it: a proposal.

Own definition by plane geometry: a line square to the neck's axis, at the protocol's distance
from the ostium's middle along that axis. Its ends are looked for from the axis outwards.
"""

import math
from collections.abc import Iterator
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from annot.calibration import PixelScale
from annot.geometry import PixelPoint
from annot.measurement.caliper import Caliper
from annot.measurement.edge_fit import NoEdge
from annot.measurement.placed_landmark import LandmarkSet, middle_of_marks
from annot.measurement.refine import Refinement, refine_end, with_refinements
from annot.vocabulary import FrameReference
from annot.vocabulary.measurands import LANDING_ZONE_WIDTH

# looked for in steps shorter than an edge is found from, out to this part of the ostium
FIRST_MM, STEP_MM, REACH_MM, BEYOND = 3.0, 1.0, 16.0, 0.65
NO_RULE = "the neck's axis and the ostium's middle are not placed on one frame"


@dataclass(frozen=True, slots=True, kw_only=True)
class ZoneLine:
    """The landing zone's line by rule.

    Attributes
    ----------
    middle : PixelPoint
        On the neck's axis.
    across : (float, float)
        Rows and columns in px of one mm along the line, away from the circumflex where that is
        placed.
    reach_mm : float
        How far from the middle a wall is looked for.
    """

    middle: PixelPoint
    across: tuple[float, float]
    reach_mm: float

    def at(self, off_mm: float) -> PixelPoint:
        """Return the place so far along the line."""
        row, column = self.across
        return PixelPoint(self.middle.row + off_mm * row, self.middle.column + off_mm * column)


def zone_line(marks: LandmarkSet, scale: PixelScale, *, inside_mm: float) -> ZoneLine | None:
    """Return the landing zone's line by rule; None where the landmarks do not tell it.

    Parameters
    ----------
    marks : LandmarkSet
    scale : PixelScale
    inside_mm : float
        The protocol's distance from the ostium, along the neck's axis.
    """
    axis = marks.placed("neck_axis")
    if not axis or not marks.centre:
        return None
    size = np.array([scale.row.value, scale.column.value])
    outer, inner = (np.array(one.point) * size for one in axis)
    along = (inner - outer) / np.linalg.norm(inner - outer)
    middle = np.array(middle_of_marks(marks.centre)) * size + inside_mm * along
    across = np.array([-along[1], along[0]])
    reach = REACH_MM
    if marks.ostium:
        wall, ridge = (np.array(one.point) * size for one in marks.ostium)
        reach = BEYOND * float(np.linalg.norm(ridge - wall))
        if (ridge - wall) @ across < 0:
            across = -across
    row, column = middle / size
    way = across / size
    return ZoneLine(
        middle=PixelPoint(float(row), float(column)),
        across=(float(way[0]), float(way[1])),
        reach_mm=reach,
    )


def propose_zone(
    frame: NDArray[np.generic],
    line: ZoneLine,
    *,
    key: str,
    reference: FrameReference,
    modality: str,
    full_scale: float,
) -> Caliper | NoEdge:
    """Return a landing zone's width between the walls that a picture shows, not confirmed.

    Parameters
    ----------
    frame : array, shape (rows, columns)
    line : ZoneLine
    key : str
        The caliper's own.
    reference : FrameReference
    modality, full_scale
        As for `refine_end`.
    """
    found: dict[int, Refinement] = {}
    for one in _guesses(line, key, reference, frame.shape):
        for end in (0, 1):
            edge = refine_end(frame, one, end, modality=modality, full_scale=full_scale)
            # the clearest edge on either side: a texture's is fainter than the wall's
            if isinstance(edge, Refinement) and (
                end not in found or edge.contrast_to_noise > found[end].contrast_to_noise
            ):
                found[end] = edge
    if len(found) < 2:
        side = "one side" if found else "either side"
        return NoEdge(reason=f"no wall within {line.reach_mm:.0f} mm of the neck's axis on {side}")
    first = replace(
        _caliper(line, line.reach_mm, key, reference), points=(found[0].point, found[1].point)
    )
    # once more from the walls themselves, so that neither guess shows
    again = {
        end: edge
        for end in (0, 1)
        if isinstance(
            edge := refine_end(frame, first, end, modality=modality, full_scale=full_scale),
            Refinement,
        )
    }
    return replace(with_refinements(first, {**found, **again}), confirmed=False)


def _guesses(
    line: ZoneLine, key: str, reference: FrameReference, shape: tuple[int, ...]
) -> Iterator[Caliper]:
    """Yield calipers of growing width about the axis, as far as the picture goes."""
    for step in range(max(math.ceil((line.reach_mm - FIRST_MM) / STEP_MM), 0) + 1):
        one = _caliper(line, FIRST_MM + step * STEP_MM, key, reference)
        inside = all(
            0 <= point.row <= shape[0] - 1 and 0 <= point.column <= shape[1] - 1
            for point in one.points
        )
        if not inside:
            return
        yield one


def _caliper(line: ZoneLine, half_mm: float, key: str, reference: FrameReference) -> Caliper:
    return Caliper(
        key=key,
        measurand=LANDING_ZONE_WIDTH,
        frame=reference,
        points=(line.at(-half_mm), line.at(half_mm)),
    )
