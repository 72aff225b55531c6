"""What is known where a read's calipers lie, beside the scales: beams, and the reader's repeats."""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, replace
from weakref import WeakKeyDictionary

from annot.calibration import LoopScale, PixelScale
from annot.calibration.identity import speed_group
from annot.errors import LoopError
from annot.geometry import PixelPoint
from annot.loops import Loop, LoopHeader
from annot.measurement import Beam, Caliper, Known, drawn_value
from annot.measurement.echo_sector import NoApex, fit_apex
from annot.measurement.repeats import Reading, RepeatEvidence, evidence_of, without_stated
from annot.reads import LoopRead, Read
from annot.vocabulary import Outcome

Box = tuple[int, int, int, int]
KnownOutcomes = dict[str, Known]


class Beams:
    """Where the beams of each loop's sectors start, fitted once a loop and region."""

    def __init__(self) -> None:
        self._fitted: WeakKeyDictionary[Loop, dict[Box, PixelPoint | NoApex]] = WeakKeyDictionary()

    def at(self, loop: Loop, caliper: Caliper, stated: PixelPoint | None) -> Beam | None:
        """Return the beam at a caliper of an echo loop; None where it cannot be told."""
        header = loop.header
        if header.modality != "US":
            return None
        if stated is not None:
            return Beam(apex=stated, speed_group=speed_group(header), source="apex as stated")
        box = _box(header, caliper)
        fitted = self._fitted.setdefault(loop, {})
        if box not in fitted:
            fitted[box] = _fit(loop, box)
        apex = fitted[box]
        if isinstance(apex, NoApex):
            return None
        source = f"apex fitted at row {apex.row:.0f}, column {apex.column:.0f}"
        return Beam(apex=apex, speed_group=speed_group(header), source=source)


def _box(header: LoopHeader, caliper: Caliper) -> Box:
    """Return first and last row and column of the region that holds the caliper."""
    for one in header.regions:
        holds = all(one.contains(point.row, point.column) for point in caliper.points)
        if one.is_2d_length and holds:
            return (max(one.min_y0, 0), max(one.min_x0, 0), one.max_y1, one.max_x1)
    return (0, 0, header.rows - 1, header.columns - 1)


def _fit(loop: Loop, box: Box) -> PixelPoint | NoApex:
    """Fit a region's sector in the first, middle and last frame, always the same ones."""
    numbers = sorted({0, loop.frames // 2, loop.frames - 1})
    top, left, bottom, right = box
    try:
        frames = [loop.frame(n)[top : bottom + 1, left : right + 1] for n in numbers]
    except LoopError as fault:
        return NoApex(reason=fault.message)
    found = fit_apex(frames)
    return found if isinstance(found, NoApex) else PixelPoint(found.row + top, found.column + left)


@dataclass(frozen=True, slots=True, kw_only=True)
class _Drawn:
    """One outcome of one caliper, as a reading that others may repeat."""

    caliper: Caliper
    outcome: Outcome
    part: LoopRead
    reading: Reading

    @property
    def by_hand(self) -> bool:
        """Whether its ends scatter as a hand does, and a person stands behind it."""
        return self.caliper.origin == "drawn" and self.caliper.confirmed


@dataclass(frozen=True, slots=True, kw_only=True)
class HandDrawn:
    """One number drawn by hand, with the scale under which it stands; None without one."""

    caliper: str
    reading: Reading
    mm_per_px: float | None


def drawn_by_hand(
    read: Read, loops: Mapping[str, Loop], scales: Mapping[str, LoopScale]
) -> list[HandDrawn]:
    """Return what a read's repeats are told from: every number drawn by hand."""
    found = []
    for one in _drawn(read, loops, scales):
        if one.by_hand:
            caliper = one.caliper
            scale = scales[one.part.file].at(caliper.points, frame=caliper.frame.frame)
            mm_per_px = scale.row.value if isinstance(scale, PixelScale) else None
            found.append(HandDrawn(caliper=caliper.key, reading=one.reading, mm_per_px=mm_per_px))
    return found


def known_of(
    read: Read,
    loops: Mapping[str, Loop],
    scales: Mapping[str, LoopScale],
    beams: Beams,
    *,
    evidence: RepeatEvidence | None = None,
) -> dict[str, KnownOutcomes]:
    """Return what is known of each caliper, by its key and by the outcome's name.

    Repeats are pooled over the whole read, which is one reader's: by outcome, modality and unit.
    Only what was drawn by hand counts; refined and tracked ends scatter as their fit does.
    `evidence` is the reader's own from more reads than this one, where somebody keeps them.
    """
    drawn = list(_drawn(read, loops, scales))
    if evidence is None:
        evidence = evidence_of(one.reading for one in drawn if one.by_hand)
    found: dict[str, KnownOutcomes] = {}
    for one in drawn:
        subject, stated = one.reading.subject, one.caliper.states_ends
        note = evidence.notes.get(subject)
        known = Known(
            beam=beams.at(loops[one.part.file], one.caliper, one.part.apex),
            placing=evidence.placing.get(subject),
            frame=evidence.frame.get(subject),
            notes=(note,) if note and not stated and one.caliper.origin == "drawn" else (),
        )
        # of an angle or a contour an end's placing is no part in the same unit: left in, it counts
        # twice, which is too wide rather than too narrow
        length = one.outcome.form == "length"
        if stated and length and known.frame is not None and known.frame.whole:
            scale = scales[one.part.file].at(one.caliper.points, frame=one.caliper.frame.frame)
            known = replace(known, frame=without_stated(known.frame, one.caliper, scale))
        found.setdefault(one.caliper.key, {})[one.outcome.name] = known
    return found


def _drawn(
    read: Read, loops: Mapping[str, Loop], scales: Mapping[str, LoopScale]
) -> Iterator[_Drawn]:
    """List every outcome of every caliper; `loops` and `scales` are keyed by the read's names."""
    for part in read.loops:
        header = loops[part.file].header
        for caliper in part.calipers:
            scale = scales[part.file].at(caliper.points, frame=caliper.frame.frame)
            for outcome in caliper.measurand.outcomes:
                scaled = isinstance(scale, PixelScale)
                reading = Reading(
                    outcome=outcome.name,
                    modality=header.modality,
                    unit=outcome.unit if scaled else outcome.unit_px,
                    loop=part.file,
                    frame=caliper.frame.frame,
                    value=drawn_value(caliper, outcome, scale),
                    repeat=caliper.repeat,
                    view_deg=caliper.view_deg,
                    beat=caliper.beat,
                    moment=caliper.moment,
                )
                yield _Drawn(caliper=caliper, outcome=outcome, part=part, reading=reading)
