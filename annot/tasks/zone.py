"""Propose each loop's landing zone from its landmarks: the line by rule, ended by the walls."""

from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

from annot.calibration import LoopScale, NoScale, PixelScale
from annot.errors import InputError
from annot.loops import Loop
from annot.measurement import Caliper, Known, Measurement
from annot.measurement.edge_fit import NoEdge
from annot.measurement.placed_landmark import LandmarkSet, sets_by_frame
from annot.measurement.zone_proposal import NO_RULE, propose_zone, zone_line
from annot.reads import LoopRead, Read
from annot.tasks.measure import measure_live, opened_with_scales
from annot.tasks.read import rules_of
from annot.tasks.refine import full_scale_of, grey_of
from annot.tasks.surroundings import Beams


@dataclass(frozen=True, slots=True, kw_only=True)
class ZoneProposal:
    """One frame's landing zone as rule and walls have it, or why there is none.

    Attributes
    ----------
    file : str
    frame : int
    measurement : Measurement or None
        Not confirmed: it counts only once a person has taken it into the read.
    reason : str
        Why there is none; empty where there is one.
    """

    file: str
    frame: int
    measurement: Measurement | None
    reason: str = ""

    def caliper_fields(self) -> dict[str, object] | None:
        """Return the caliper as a read file has it, for a person to take over."""
        if self.measurement is None:
            return None
        one = self.measurement.caliper
        return {
            "id": one.key,
            "quantity": one.measurand.name,
            "frame": self.frame,
            "points_px": [[round(p.row, 2), round(p.column, 2)] for p in one.points],
            "u_end_px": None if one.u_end_px is None else round(one.u_end_px, 3),
            "origin": one.origin,
            "confirmed": one.confirmed,
        }

    def facts(self) -> dict[str, object]:
        """Return it for machines."""
        found = None if self.measurement is None else self.measurement.estimate
        return {
            "loop": self.file,
            "frame": self.frame,
            "caliper": self.caliper_fields(),
            "width": None
            if found is None or self.measurement is None
            else {
                "value": found.value,
                "u": found.u,
                "low": found.interval.low,
                "high": found.interval.high,
                "unit": self.measurement.result.unit,
            },
            "reason": self.reason or None,
        }


def zone_proposals(
    read: Read, folder: Path, *, progress: Callable[[str], None] = lambda _: None
) -> list[ZoneProposal]:
    """Look for the landing zone on every frame that has landmarks; the read stays as it is.

    Raises
    ------
    InputError
        If the read has no landmarks, or its protocol states no distance.
    AnnotError
        As `measure_read` does.
    """
    inside_mm = rules_of(read).landing_zone_inside_mm
    if inside_mm is None:
        raise InputError(
            f"The protocol {rules_of(read).label} states no landing_zone_inside_mm, so there is no "
            "rule to propose a landing zone by."
        )
    if not any(part.landmarks for part in read.loops):
        raise InputError(
            "The read places no landmarks, so no landing zone follows: place neck_axis and the "
            "ostium's middle, or its two ends."
        )
    loops, scales = opened_with_scales(read, folder, progress)
    beams = Beams()
    return [
        _proposal(part, marks, (loops[part.file], scales[part.file]), inside_mm, beams)
        for part in read.loops
        for marks in sets_by_frame(part.landmarks, loop=part.file)
    ]


def _proposal(
    part: LoopRead,
    marks: LandmarkSet,
    scaled: tuple[Loop, LoopScale],
    inside_mm: float,
    beams: Beams,
) -> ZoneProposal:
    loop, scale = scaled
    points = [point for one in marks.marks for point in one.points]
    held = scale.at(points, frame=marks.frame)
    if isinstance(held, NoScale):
        reason = f"no distance in mm without a scale: {held.reason}"
        return ZoneProposal(file=part.file, frame=marks.frame, measurement=None, reason=reason)
    found = _caliper(part, marks, loop, held, inside_mm)
    if isinstance(found, NoEdge):
        return ZoneProposal(
            file=part.file, frame=marks.frame, measurement=None, reason=found.reason
        )
    known = Known(beam=beams.at(loop, found, part.apex))
    [width] = measure_live(found, scale, loop.header, known={found.measurand.name: known})
    return ZoneProposal(file=part.file, frame=marks.frame, measurement=width)


def _caliper(
    part: LoopRead, marks: LandmarkSet, loop: Loop, held: PixelScale, inside_mm: float
) -> Caliper | NoEdge:
    line = zone_line(marks, held, inside_mm=inside_mm)
    if line is None:
        return NoEdge(reason=NO_RULE)
    return propose_zone(
        grey_of(loop.frame(marks.frame)),
        line,
        key=f"{part.file}-{marks.frame}-zone",
        reference=loop.header.reference(marks.frame),
        modality=loop.header.modality,
        full_scale=full_scale_of(loop),
    )
