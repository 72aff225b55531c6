"""Whether a chain still says what was written, and what its events say in words."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from typing import Any

from annot.errors import InputError
from annot.store.mapping import as_written, event_of
from annot.store.record import AFTER_FREEZE, FIRST_PREVIOUS, FREEZE, Anchor, ChainReport, Event


@dataclass(slots=True)
class ChainWalk:
    """A walk along one chain from its first event, row by row.

    Attributes
    ----------
    count : int
        Events that were found in order so far.
    previous : str
        Digest of the last of them.
    """

    count: int = 0
    previous: str = FIRST_PREVIOUS
    _frozen: bool = False
    _versions: dict[tuple[str, str], int] = field(default_factory=dict)

    def step(self, row: Any) -> str:
        """Take the next row; return what is wrong with it, empty where it belongs there."""
        fault, event = self._fault_of(row)
        if not fault and event is not None:
            self.count, self.previous = event.sequence, event.digest
            self._versions[event.record.kind, event.record.key] = event.version
            self._frozen = self._frozen or event.record.kind == FREEZE
        return fault

    def _fault_of(self, row: Any) -> tuple[str, Event | None]:
        sequence = self.count + 1
        if row.sequence != sequence:
            return f"event {sequence} is missing; the next one is event {row.sequence}", None
        try:
            event = event_of(row)
            written = as_written(row, event)
        except (ValueError, TypeError, InputError):
            return f"event {sequence} is no longer readable", None
        kind, key = event.record.kind, event.record.key
        faults = {
            "was altered: its content does not give its digest": not written,
            "does not follow the event before it": event.previous != self.previous,
            f"skips a version of {kind} {key}": (
                event.version != self._versions.get((kind, key), 0) + 1
            ),
            "joined a study that was frozen": self._frozen and kind not in AFTER_FREEZE,
        }
        found = [words for words, seen in faults.items() if seen]
        return (f"event {sequence} {found[0]}", None) if found else ("", event)


def check_chain(study: str, rows: Iterable[Any], *, anchors: Sequence[Anchor] = ()) -> ChainReport:
    """Walk a chain from its first event and report the first fault.

    Parameters
    ----------
    rows : iterable of database rows, by rising sequence
    anchors : sequence of Anchor
        Heads written down earlier: they show when the chain's end was cut off, or the whole
        chain was written anew.
    """
    expected = {one.sequence: one.digest for one in anchors if one.study == study}
    walk = ChainWalk()
    for row in rows:
        good = walk.count
        fault = walk.step(row)
        if not fault and expected.pop(walk.count, walk.previous) != walk.previous:
            fault = f"event {walk.count} is not the one that the anchor saw"
        if fault:
            return ChainReport(study=study, events=good, fault=sentence_of(study, fault))
    if expected:
        last = max(expected)
        fault = f"the chain ends at event {walk.count}, while an anchor saw event {last}"
        return ChainReport(study=study, events=walk.count, fault=sentence_of(study, fault))
    head = Anchor(study=study, sequence=walk.count, digest=walk.previous) if walk.count else None
    return ChainReport(study=study, events=walk.count, head=head)


def sentence_of(study: str, fault: str) -> str:
    """Return a fault of a study's chain as one sentence."""
    # a name whose bytes are no text any more could not be printed
    name, words = (one.encode("utf-8", "backslashreplace").decode() for one in (study, fault))
    return f"Study {name}: {words}."


def in_words(event: Event) -> str:
    """Return one line that says what an event did, when, by whom and why."""
    record = event.record
    deed = "entered" if event.version == 1 else f"changed to version {event.version}"
    why = f", because: {event.reason}" if event.reason else ""
    moment = event.at.strftime("%Y-%m-%d %H:%M:%S UTC")
    return f"{event.sequence:>5}  {moment}  {event.actor} {deed} {record.kind} {record.key}{why}"
