"""After the implant: compression, classes of gaps, and what changed since planning."""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import replace
from pathlib import Path

from annot.calibration import LoopScale, PixelScale
from annot.errors import InputError
from annot.exports.table_file import read_table
from annot.loops import Loop
from annot.measurement import Caliper, Known, Measurement
from annot.measurement.after_implant import compression_of, gap_class_of
from annot.measurement.change import Change, changes_between
from annot.measurement.device_swing import NO_SWING, swing_of
from annot.reads import Read
from annot.tasks.followed import followed
from annot.uncertainty import InputQuantity, rectangular
from annot.vocabulary.device_measurands import COMPRESSIONS, RIDGE_DISTANCE
from annot.vocabulary.gap_schemes import GAP_SCHEMES
from annot.vocabulary.protocol import Protocol

NO_NOMINAL = "the read states no implant, so no compression: add its nominal width"

__all__ = ["Change", "changes_of_tables", "with_implant", "with_swing"]


def with_implant(
    measured: Sequence[Measurement], read: Read, rules: Protocol
) -> Iterator[Measurement]:
    """Yield measurements, a gap's with its class, a device's width followed by its compression."""
    nominal = _nominal(read)
    for one in measured:
        scaled = isinstance(one.scale, PixelScale)
        if one.outcome.name == "gap_width" and scaled and rules.gap_scheme is not None:
            found = gap_class_of(one.result, GAP_SCHEMES[rules.gap_scheme])
            yield one.with_remarks(found.words)
            continue
        if one.outcome.name not in COMPRESSIONS or not scaled:
            yield one
            continue
        yield one if nominal else one.with_remarks(NO_NOMINAL)
        if nominal:
            yield compression_of(one, nominal)


def with_swing(
    measured: Sequence[Measurement],
    caliper: Caliper,
    loop: Loop,
    scale: LoopScale,
    *,
    known: Mapping[str, Known],
) -> Iterator[Measurement]:
    """Yield a caliper's measurements, a distance to the ridge's tip followed by its swing."""
    for one in measured:
        if one.outcome.name != RIDGE_DISTANCE.name or loop.frames == 1:
            yield one
            continue
        about = known.get(one.outcome.name, Known())
        try:
            found = followed(caliper, loop, scale, known=about, file=loop.header.path.name)
        except InputError as fault:
            yield one.with_remarks(NO_SWING.format(fault.message.rstrip(".")))
            continue
        yield one
        frames = [point.frame for point in found.points]
        yield swing_of(one, found.summary, frames=(frames[0], frames[-1]))


def _nominal(read: Read) -> InputQuantity | None:
    implant = read.implant
    if implant is None:
        return None
    return rectangular(
        implant.nominal_width_mm,
        implant.tolerance_mm,
        key="implant:nominal-width",
        unit="mm",
        component="object",
        source=f"nominal width ± {implant.tolerance_mm:g} mm as stated",
    )


def changes_of_tables(before: Path, after: Path) -> tuple[Change, ...]:
    """Return what changed between the tables of a planning and of a follow-up read.

    Raises
    ------
    InputError
        If a table cannot be read, they are of different studies, or nothing is common to both.
    """
    earlier, later = read_table(before), read_table(after)
    if [replace(one, line=0) for one in earlier] == [replace(one, line=0) for one in later]:
        raise InputError(
            f"{after} holds the same rows as {before}, so there is no change to tell: name the "
            "follow-up's own table."
        )
    studies = [{row.study for row in rows} for rows in (earlier, later)]
    if studies[0] != studies[1] or len(studies[0]) != 1:
        raise InputError(
            f"{before.name} and {after.name} must hold one and the same study to be paired; they "
            f"hold {', '.join(sorted(studies[0]))} and {', '.join(sorted(studies[1]))}."
        )
    found = changes_between(earlier, later)
    if not found:
        raise InputError(
            f"{before.name} and {after.name} have no quantity in one view in common, so nothing "
            "can be paired: measure the same quantity in the same view."
        )
    return found
