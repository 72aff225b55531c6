"""Whether a chain still says what was written, and what its events say in words."""

from collections.abc import Iterable, Sequence
from typing import Any

from annot.errors import InputError
from annot.store.mapping import as_written, event_of
from annot.store.record import FIRST_PREVIOUS, Anchor, ChainReport, Event


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
    previous, count = FIRST_PREVIOUS, 0
    versions: dict[tuple[str, str], int] = {}
    for row in rows:
        fault, event = _fault_of(row, count + 1, previous, versions)
        if not fault and expected.pop(count + 1, row.digest) != row.digest:
            fault = f"event {count + 1} is not the one that the anchor saw"
        if fault or event is None:
            return ChainReport(study=study, events=count, fault=_sentence(study, fault))
        count, previous = count + 1, event.digest
        versions[event.record.kind, event.record.key] = event.version
    if expected:
        last = max(expected)
        fault = f"the chain ends at event {count}, while an anchor saw event {last}"
        return ChainReport(study=study, events=count, fault=_sentence(study, fault))
    head = Anchor(study=study, sequence=count, digest=previous) if count else None
    return ChainReport(study=study, events=count, head=head)


def _fault_of(
    row: Any, sequence: int, previous: str, versions: dict[tuple[str, str], int]
) -> tuple[str, Event | None]:
    if row.sequence != sequence:
        return f"event {sequence} is missing; the next one is event {row.sequence}", None
    try:
        event = event_of(row)
        written = as_written(row, event)
    except (ValueError, TypeError, InputError):
        return f"event {sequence} is no longer readable", None
    place = (event.record.kind, event.record.key)
    faults = {
        "was altered: its content does not give its digest": not written,
        "does not follow the event before it": event.previous != previous,
        f"skips a version of {place[0]} {place[1]}": event.version != versions.get(place, 0) + 1,
    }
    found = [words for words, seen in faults.items() if seen]
    return (f"event {sequence} {found[0]}", None) if found else ("", event)


def _sentence(study: str, fault: str) -> str:
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
