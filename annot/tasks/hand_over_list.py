"""The list that goes with a read, as data, as lines a person signs, and for machines."""

import hashlib
from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from annot.measurement.rule_deviation import RuleDeviation
from annot.reads.completeness import Standing
from annot.vocabulary.protocol import MOMENTS


@dataclass(frozen=True, slots=True, kw_only=True)
class Line:
    """One line of a hand-over list.

    Attributes
    ----------
    topic : str
        What it is about; it stays while its words change.
    text : str
    protocol : str
        Fingerprint of the protocol by which it stands here.
    """

    topic: str
    text: str
    protocol: str

    @property
    def code(self) -> str:
        """Six hexadecimal digits by which a person signs it: another text has another code."""
        whole = "\n".join((self.topic, self.text, self.protocol))
        return hashlib.sha256(whole.encode()).hexdigest()[:6]


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
    moments : tuple of (caliper, words)
        Moments stated in words that no protocol knows: they count as not stated.
    scattered : tuple of (file, reason)
        Landmarks that are not taken together, because they stand on different frames.
    stale : tuple of (caliper, reason)
    over_limit : tuple of str
        Repeats further apart than the protocol's limits.
    unlooked : tuple of str
        Limits of the protocol that could not be looked at.
    scale_doubtful : tuple of (caliper, reason)
    unconfirmed : tuple of str
        Rows that a program proposed and no person has confirmed: caliper and quantity.
    off_rule : tuple of (caliper, RuleDeviation)
        How far drawn widths lie from the protocol's rules; no limit is applied.
    """

    protocol: str
    fingerprint: str
    standings: tuple[Standing, ...]
    unasked: tuple[str, ...]
    unstated: tuple[tuple[str, tuple[str, ...]], ...]
    moments: tuple[tuple[str, str], ...]
    scattered: tuple[tuple[str, str], ...]
    stale: tuple[tuple[str, str], ...]
    over_limit: tuple[str, ...]
    unlooked: tuple[str, ...]
    scale_doubtful: tuple[tuple[str, str], ...]
    unconfirmed: tuple[str, ...]
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
            "moments": [{"caliper_id": key, "words": words} for key, words in self.moments],
            "scattered": [{"loop": file, "reason": why} for file, why in self.scattered],
            "stale": [{"caliper_id": key, "reason": why} for key, why in self.stale],
            "off_rule": [{"caliper_id": key, **one.facts()} for key, one in self.off_rule],
            "over_limit": list(self.over_limit),
            "unlooked": list(self.unlooked),
            "scale_doubtful": [
                {"caliper_id": key, "reason": why} for key, why in self.scale_doubtful
            ],
            "unconfirmed": list(self.unconfirmed),
            "lines": [
                {"code": one.code, "topic": one.topic, "text": one.text} for one in self.lines()
            ],
        }

    def lines(self) -> tuple[Line, ...]:
        """Return what has to be said, line by line, as a person signs it."""
        counted: dict[str, int] = {}
        found = []
        for about, text in self._said():
            counted[about] = counted.get(about, 0) + 1
            # several things about one subject are told apart by their order
            number = f" {counted[about]}" if counted[about] > 1 else ""
            topic = f"{about}{number}"
            found.append(Line(topic=topic, text=text, protocol=self.fingerprint))
        return tuple(found)

    def sentences(self) -> tuple[str, ...]:
        """Return it for people, one line for each thing; empty where nothing is to be said."""
        return tuple(one.text for one in self.lines())

    def _said(self) -> Iterator[tuple[str, str]]:
        yield from self._owed()
        for file, why in self.scattered:
            yield f"landmarks: {file}", f"{file}: {why}"
        for key, why in self.stale:
            yield f"stale: {key}", f"{key}: {why}"
        for text in (*self.over_limit, *self.unlooked):
            yield f"limit: {text.split(' are ')[0].split(' lie ')[0]}", text
        for why, keys in _by_reason(self.scale_doubtful).items():
            yield f"scale: {keys[0]}", f"{', '.join(keys)}: scale doubtful: {why}"
        for about in self.unconfirmed:
            yield f"unconfirmed: {about}", f"{about}: proposed by a program, not confirmed"

    def _owed(self) -> Iterator[tuple[str, str]]:
        """Yield what is missing or not stated as the protocol asks for it."""
        for one in self.missing:
            about = f"{one.quantity}, {one.view.title}"
            yield f"missing: {about}", f"{about}: {one.missing}"
        for file, names in self.unstated:
            yield f"unstated: {file}", f"{file}: not stated: {', '.join(names)}"
        for words, keys in _by_reason(self.moments).items():
            yield (
                f"moment: {keys[0]}",
                f"{', '.join(keys)}: the moment '{words}' is none of {', '.join(MOMENTS)}, so it "
                "counts as not stated",
            )


def _by_reason(said: Sequence[tuple[str, str]]) -> dict[str, list[str]]:
    """Gather under each reason the keys it is said of."""
    found: dict[str, list[str]] = {}
    for key, why in said:
        found.setdefault(why, []).append(key)
    return found


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
        "moment": one.moment,
        "not_counted": one.not_counted,
    }
