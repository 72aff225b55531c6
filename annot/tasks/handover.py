"""What a read hands over: what its protocol still asks for, and what whoever takes it must know."""

from collections.abc import Callable, Iterable, Iterator, Sequence

from annot.calibration import NoScale, PixelScale
from annot.exports import TableEntry
from annot.measurement.placed_landmark import sets_by_frame
from annot.reads import LoopRead, Read
from annot.reads.completeness import Reading, standings, unasked
from annot.reads.read import NOT_STATED
from annot.sizing import SizeChart
from annot.tasks.hand_over_list import HandOver, Line
from annot.tasks.read import rules_of
from annot.tasks.too_far_apart import over_limit
from annot.vocabulary.protocol import moment_of

__all__ = ["HandOver", "Line", "hand_over", "reading_of"]

STALE = "stale:"
# what a scale's warning holds where another scale of the loop speaks against it
DOUBT = "E_n"


def hand_over(
    read: Read, entries: Sequence[TableEntry], *, chart: SizeChart | None = None
) -> HandOver:
    """Return the hand-over list of a read that has been measured.

    Parameters
    ----------
    read : Read
    entries : sequence of TableEntry
        All measurements of that read.
    chart : SizeChart, optional
        The laboratory's own, where its protocol minds different rows of it.
    """
    rules = rules_of(read)
    readings = {id(one): reading_of(one) for one in entries}
    strange = {id(one) for one in unasked(rules, readings.values())}
    pairs = [(readings[id(one)], one.measurement) for one in entries]
    apart = over_limit(rules, pairs, chart)
    return HandOver(
        protocol=rules.label,
        fingerprint=rules.fingerprint,
        standings=standings(rules, readings.values()),
        unasked=tuple(
            dict.fromkeys(
                one.measurement.caliper.key for one in entries if id(readings[id(one)]) in strange
            )
        ),
        unstated=tuple(
            (loop.file, names)
            for loop in read.loops
            if (names := loop.conditions.unstated(rules.conditions))
        ),
        moments=_said(entries, _odd_moment),
        scattered=tuple(
            (loop.file, why) for loop in read.loops for why in _scattered_landmarks(loop)
        ),
        stale=_said(entries, _stale),
        over_limit=apart.sentences,
        unlooked=apart.unlooked,
        scale_doubtful=_said(entries, _doubts),
        unconfirmed=tuple(
            f"{one.measurement.caliper.key}, {one.measurement.outcome.name}"
            for one in entries
            if not one.measurement.caliper.confirmed
        ),
        off_rule=tuple(
            (one.measurement.caliper.key, off) for one in entries for off in one.off_rule
        ),
    )


def reading_of(entry: TableEntry) -> Reading:
    """Return a measurement as far as completeness cares, its view as the read or file has it.

    A caliper that states no moment has that of its loop's conditions.
    """
    caliper, stated, header = entry.measurement.caliper, entry.loop.view, entry.header
    outcome = entry.measurement.outcome
    primary = secondary = None
    if header.xray is not None:
        primary, secondary = header.xray.angles_at(header.frame_of(caliper.frame))
    return Reading(
        quantity=caliper.measurand.name if outcome in caliper.measurand.outcomes else outcome.name,
        modality=header.modality,
        plane_deg=caliper.view_deg if stated.plane_deg is None else stated.plane_deg,
        primary_deg=primary if stated.primary_deg is None else stated.primary_deg,
        secondary_deg=secondary if stated.secondary_deg is None else stated.secondary_deg,
        repeat=caliper.repeat,
        beat=caliper.beat,
        moment=moment_of(_moment_words(entry)),
        confirmed=caliper.confirmed,
    )


def _moment_words(entry: TableEntry) -> str | None:
    own = entry.measurement.caliper.moment
    loops = entry.loop.conditions.moment
    return own or (None if loops == NOT_STATED else loops)


def _said(
    entries: Sequence[TableEntry], about: Callable[[TableEntry], Iterable[str]]
) -> tuple[tuple[str, str], ...]:
    found = ((one.measurement.caliper.key, why) for one in entries for why in about(one))
    return tuple(dict.fromkeys(found))


def _odd_moment(entry: TableEntry) -> Iterator[str]:
    words = _moment_words(entry)
    if words is not None and moment_of(words) is None:
        yield words


def _scattered_landmarks(loop: LoopRead) -> Iterator[str]:
    """Yield which landmarks stand apart: quantities need theirs on one frame."""
    sets = sets_by_frame(loop.landmarks)
    names = {mark.name for one in sets for mark in one.marks}
    if len(sets) < 2 or any({mark.name for mark in one.marks} == names for one in sets):
        return
    places = "; ".join(
        f"frame {one.frame}: {', '.join(sorted(mark.name for mark in one.marks))}" for one in sets
    )
    yield f"landmarks of different frames are not taken together ({places}): place them on one"


def _stale(entry: TableEntry) -> Iterator[str]:
    return (text for text in entry.measurement.warnings if text.startswith(STALE))


def _doubts(entry: TableEntry) -> Iterator[str]:
    return iter(scale_doubts(entry.measurement.scale))


def scale_doubts(scale: PixelScale | NoScale) -> tuple[str, ...]:
    """Return why a scale is in doubt: none, overruled, or at odds with another of the loop."""
    if not isinstance(scale, PixelScale):
        return (scale.reason,)
    overruled = (f"overruled: {scale.overruled}",) if scale.overruled else ()
    return (*overruled, *(text for text in scale.warnings if DOUBT in text))
