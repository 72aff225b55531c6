"""What a read hands over: what its protocol still asks for, and what whoever takes it must know."""

from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import dataclass
from itertools import combinations

from annot.calibration import NoScale, PixelScale
from annot.exports import TableEntry
from annot.measurement.rule_deviation import RuleDeviation
from annot.reads import Read
from annot.reads.completeness import Reading, Standing, standings, unasked
from annot.tasks.read import rules_of
from annot.vocabulary.protocol import Protocol, View

STALE = "stale:"
# what a scale's warning holds where another scale of the loop speaks against it
DOUBT = "E_n"


@dataclass(frozen=True, slots=True, kw_only=True)
class HandOver:
    """The list that goes with a read.

    Attributes
    ----------
    protocol : str
        Name and version.
    fingerprint : str
    standings : tuple of Standing
        Every quantity in every view that the protocol asks for.
    unasked : tuple of str
        Calipers that no rule asks for: allowed, and worth saying.
    unstated : tuple of (file, conditions)
        Conditions that the protocol asks for and nobody stated.
    stale : tuple of (caliper, reason)
    over_limit : tuple of str
        Repeats further apart than the protocol's limits.
    scale_doubtful : tuple of (caliper, reason)
    off_rule : tuple of (caliper, RuleDeviation)
        How far drawn widths lie from the protocol's rules; no limit is applied.
    """

    protocol: str
    fingerprint: str
    standings: tuple[Standing, ...]
    unasked: tuple[str, ...]
    unstated: tuple[tuple[str, tuple[str, ...]], ...]
    stale: tuple[tuple[str, str], ...]
    over_limit: tuple[str, ...]
    scale_doubtful: tuple[tuple[str, str], ...]
    off_rule: tuple[tuple[str, RuleDeviation], ...] = ()

    @property
    def missing(self) -> tuple[Standing, ...]:
        """Return what is required and not complete."""
        return tuple(one for one in self.standings if one.required and not one.complete)

    def facts(self) -> dict[str, object]:
        """Return it for machines."""
        return {
            "protocol": self.protocol,
            "fingerprint": self.fingerprint,
            "complete": not self.missing,
            "standings": [_standing_facts(one) for one in self.standings],
            "unasked": list(self.unasked),
            "unstated": [
                {"loop": file, "conditions": list(names)} for file, names in self.unstated
            ],
            "stale": [{"caliper_id": key, "reason": why} for key, why in self.stale],
            "off_rule": [{"caliper_id": key, **one.facts()} for key, one in self.off_rule],
            "over_limit": list(self.over_limit),
            "scale_doubtful": [
                {"caliper_id": key, "reason": why} for key, why in self.scale_doubtful
            ],
        }

    def sentences(self) -> tuple[str, ...]:
        """Return it for people, one line for each thing; empty where nothing is to be said."""
        return (
            *(f"{one.quantity}, {one.view.title}: {one.missing}" for one in self.missing),
            *(f"{file}: not stated: {', '.join(names)}" for file, names in self.unstated),
            *(f"{key}: {why}" for key, why in self.stale),
            *self.over_limit,
            *(f"{key}: scale doubtful: {why}" for key, why in self.scale_doubtful),
        )


def hand_over(read: Read, entries: Sequence[TableEntry]) -> HandOver:
    """Return the hand-over list of a read that has been measured.

    Parameters
    ----------
    read : Read
    entries : sequence of TableEntry
        All measurements of that read.
    """
    rules = rules_of(read)
    readings = {id(one): reading_of(one) for one in entries}
    strange = {id(one) for one in unasked(rules, readings.values())}
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
        stale=_said(entries, _stale),
        over_limit=tuple(_over_limit(rules, entries)),
        scale_doubtful=_said(entries, _doubts),
        off_rule=tuple(
            (one.measurement.caliper.key, off) for one in entries for off in one.off_rule
        ),
    )


def reading_of(entry: TableEntry) -> Reading:
    """Return a measurement as far as completeness cares, its view as the read or file has it."""
    caliper, stated, header = entry.measurement.caliper, entry.loop.view, entry.header
    primary = secondary = None
    if header.xray is not None:
        primary, secondary = header.xray.angles_at(header.frame_of(caliper.frame))
    return Reading(
        quantity=caliper.measurand.name,
        modality=header.modality,
        plane_deg=caliper.view_deg if stated.plane_deg is None else stated.plane_deg,
        primary_deg=primary if stated.primary_deg is None else stated.primary_deg,
        secondary_deg=secondary if stated.secondary_deg is None else stated.secondary_deg,
        repeat=caliper.repeat,
        beat=caliper.beat,
    )


def _standing_facts(one: Standing) -> dict[str, object]:
    return {
        "quantity": one.quantity,
        "view": one.view.title,
        "modality": one.view.modality,
        "required": one.required,
        "complete": one.complete,
        "repeats_wanted": one.repeats_wanted,
        "repeats_read": one.repeats_read,
        "beats_wanted": one.beats_wanted,
        "beats_read": one.beats_read,
    }


def _said(
    entries: Sequence[TableEntry], about: Callable[[TableEntry], Iterable[str]]
) -> tuple[tuple[str, str], ...]:
    found = ((one.measurement.caliper.key, why) for one in entries for why in about(one))
    return tuple(dict.fromkeys(found))


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


def _over_limit(protocol: Protocol, entries: Sequence[TableEntry]) -> Iterator[str]:
    """Yield pairs of repeats of one quantity in one view, further apart than the limits."""
    rules = protocol.rules()
    groups: dict[tuple[str, View], list[TableEntry]] = {}
    for one in entries:
        reading = reading_of(one)
        rule = rules.get(reading.quantity)
        for view in rule.views if rule else ():
            if reading.shows(view) and one.measurement.result.unit == "mm":
                groups.setdefault((reading.quantity, view), []).append(one)
    for (quantity, view), group in groups.items():
        for first, second in combinations(group, 2):
            pair = [one.measurement for one in (first, second)]
            values = [one.estimate.value for one in pair]
            another = pair[0].caliper.repeat != pair[1].caliper.repeat
            if another and protocol.adjudication.asks_for_a_third(*values):
                keys = f"{pair[0].caliper.key} and {pair[1].caliper.key}"
                apart = abs(values[0] - values[1])
                yield f"{quantity}, {view.title}: {keys} are {apart:.1f} mm apart"
