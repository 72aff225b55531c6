"""Measure a whole read: open its loops, make its scales, measure its calipers."""

from collections.abc import Callable, Mapping
from dataclasses import replace
from pathlib import Path
from typing import Protocol

from annot.calibration import (
    BorrowedRequest,
    LoopScale,
    MadeScale,
    NoScale,
    borrow_scale,
    make_scale,
)
from annot.errors import InputError
from annot.exports import TableEntry
from annot.loops import Loop, LoopHeader, refuse_outside
from annot.measurement import Caliper, Known, Measurement, measure_all
from annot.measurement.repeats import RepeatEvidence
from annot.measurement.rule_deviation import RuleDeviation
from annot.reads import LoopRead, Read
from annot.tasks.followup import with_implant, with_swing
from annot.tasks.open import open_loop
from annot.tasks.planning import LoopPlan
from annot.tasks.pseudonym import key_file, load_or_make_key, study_pseudonym
from annot.tasks.read import ruled, rules_of
from annot.tasks.surroundings import Beams, known_of

__all__ = [
    "Beams",
    "Caliper",
    "Measure",
    "Measurement",
    "TableEntry",
    "entries_of",
    "known_of",
    "measure_live",
    "measure_read",
    "scales_of",
]


class Measure(Protocol):
    """What measures one caliper on a loop, as `measure_live` does."""

    def __call__(
        self,
        caliper: Caliper,
        scale: LoopScale,
        header: LoopHeader,
        *,
        known: Mapping[str, Known] | None = None,
    ) -> tuple[Measurement, ...]:
        """Return one measurement, or a contour's four."""


NO_SCALE_ASKED = NoScale(reason="the read states no scale for this loop")


def measure_read(
    read: Read, folder: Path, *, progress: Callable[[str], None] = lambda _: None
) -> list[TableEntry]:
    """Measure every caliper of a read.

    Parameters
    ----------
    read : Read
    folder : Path
        Where the read's relative file names start: the folder of the read file.
    progress : callable
        Called with each loop's file name before it is opened.

    Returns
    -------
    list of TableEntry, in the order of the read.

    Raises
    ------
    AnnotError
        On the first loop, reference object or caliper at fault; nothing is half done.
    """
    loops, scales = opened_with_scales(read, folder, progress)
    return entries_of(ruled(read, beside=folder), loops, scales, beams=Beams())


def opened_with_scales(
    read: Read, folder: Path, progress: Callable[[str], None]
) -> tuple[dict[str, Loop], dict[str, LoopScale]]:
    """Open a read's loops, look at every measured frame, and make the scales."""
    loops: dict[str, Loop] = {}
    for one in read.loops:
        progress(one.file)
        loops[one.file] = _open(one, folder)
    return loops, scales_of(read, loops)


def scales_of(read: Read, loops: Mapping[str, Loop]) -> dict[str, LoopScale]:
    """Look at every measured frame of loops that are open, and make the scales of a read."""
    for one in read.loops:
        _look_at_frames(one, loops[one.file])
    return _scales(read, loops)


def entries_of(
    read: Read,
    loops: Mapping[str, Loop],
    scales: Mapping[str, LoopScale],
    *,
    beams: Beams,
    evidence: RepeatEvidence | None = None,
    measure: Measure | None = None,
) -> list[TableEntry]:
    """Measure every caliper of a read whose loops are open and whose scales are made.

    What follows from landmarks comes after the calipers of its loop.

    `loops` and `scales` are keyed by the loops' file names as the read has them; `evidence` is
    what the reader's repeats in other reads say too, else the read's own are taken; `measure`
    stands in for `measure_live` where somebody keeps answers that are slow to work out.
    """
    measure = measure or measure_live
    entries = []
    read = ruled(read)
    rules = rules_of(read)
    known = known_of(read, loops, scales, beams, evidence=evidence)
    for one in read.loops:
        header = loops[one.file].header
        study, scale = study_name(read, header), scales[one.file]
        plan = LoopPlan(part=one, loop=loops[one.file], scale=scale, protocol=rules)
        found: list[tuple[Measurement, tuple[RuleDeviation, ...]]] = []
        for caliper in one.calipers:
            live = measure(caliper, scale, header, known=known[caliper.key])
            implanted = list(with_implant(live, read, rules))
            drawn = list(
                with_swing(implanted, caliper, loops[one.file], scale, known=known[caliper.key])
            )
            found += plan.with_rule(caliper, drawn)
        for derived, surroundings in plan.derived(beams):
            found += [(each, ()) for each in measure(derived, scale, header, known=surroundings)]
        entries += [
            TableEntry(
                measurement=each, header=header, read=read, loop=one, study=study, off_rule=off
            )
            for each, off in found
        ]
    return entries


def measure_live(
    caliper: Caliper,
    scale: LoopScale,
    header: LoopHeader,
    *,
    known: Mapping[str, Known] | None = None,
) -> tuple[Measurement, ...]:
    """Measure one caliper on a loop, under the scale that holds at its points.

    Parameters
    ----------
    known : mapping of outcome name to Known, optional
        As `known_of` gives it.

    Returns
    -------
    tuple of Measurement
        One, or a contour's area, perimeter and two diameters.

    Raises
    ------
    InputError
        If the caliper names a frame or a place that the loop does not have.
    """
    frame = caliper.frame.frame
    refuse_outside(header, frame, caliper.points, what=f"caliper {caliper.key}")
    placed = replace(caliper, frame=header.reference(frame))
    held = scale.at(caliper.points, frame=frame)
    return measure_all(placed, held, modality=header.modality, known=known)


def _open(one: LoopRead, folder: Path) -> Loop:
    loop = open_loop(folder / one.file)
    stated = one.sop_instance_uid
    if stated is not None and stated != loop.header.sop_instance_uid:
        raise InputError(
            f"{one.file} is not the loop that was read: the read states SOP instance {stated}, the "
            f"file holds {loop.header.sop_instance_uid}."
        )
    return loop


def _look_at_frames(one: LoopRead, loop: Loop) -> None:
    """Decode every measured frame once: what cannot be seen cannot have been measured."""
    drawn = {caliper.frame.frame for caliper in one.calipers}
    for frame in sorted(drawn | {mark.frame for mark in one.landmarks}):
        if frame < loop.frames:
            loop.frame(frame)


def _scales(read: Read, loops: Mapping[str, Loop]) -> dict[str, LoopScale]:
    """Return each loop's scale, the borrowed ones after those they are borrowed from."""
    made: dict[str, MadeScale] = {}
    scales: dict[str, LoopScale] = {}
    for one in read.loops:
        if one.scale is None:
            scales[one.file] = NO_SCALE_ASKED
        elif not isinstance(one.scale, BorrowedRequest):
            made[one.file] = make_scale(loops[one.file], one.scale)
            scales[one.file] = made[one.file].scale
    for one in read.loops:
        if isinstance(one.scale, BorrowedRequest):
            lender = one.scale.file
            if lender not in made:
                raise InputError(
                    f"{one.file} borrows the scale of {lender}, but the read has no loop {lender} "
                    "with a scale of its own."
                )
            scales[one.file] = borrow_scale(
                made[lender], loops[lender].header, loops[one.file].header, one.scale
            )
    return scales


def study_name(read: Read, header: LoopHeader) -> str:
    """Return what a row calls its study: the read's name for it, else a keyed pseudonym."""
    if read.study is not None:
        return read.study
    return study_pseudonym(header.study_instance_uid, load_or_make_key(key_file()))
