"""Rows of the database to frozen types and back."""

import json
from datetime import datetime
from typing import Any

from annot.store.canonical import canonical
from annot.store.record import Event, Record


def row_of(event: Event) -> dict[str, Any]:
    """Return an event as the columns of its row."""
    return {
        "study": event.record.study,
        "sequence": event.sequence,
        "kind": event.record.kind,
        "key": event.record.key,
        "version": event.version,
        "token": event.token,
        "actor": event.actor,
        "at": event.at.isoformat(),
        "reason": event.reason,
        "body": canonical(event.record.body),
        "previous": event.previous,
        "digest": event.digest,
    }


def as_written(row: Any, event: Event) -> bool:
    """Tell whether a row still says, letter for letter, what was written.

    A change that reads the same, a space in the JSON or a moment's other spelling, is a change.

    Raises
    ------
    InputError
        If the row holds what could never have been kept.
    """
    same = all(getattr(row, name) == text for name, text in row_of(event).items())
    return same and event.recomputed() == event.digest


def event_of(row: Any) -> Event:
    """Return the event that a row holds.

    Raises
    ------
    ValueError
        If the row was altered so that it is no event any more.
    """
    return Event(
        record=Record(study=row.study, kind=row.kind, key=row.key, body=json.loads(row.body)),
        sequence=row.sequence,
        version=row.version,
        token=row.token,
        actor=row.actor,
        at=datetime.fromisoformat(row.at),
        reason=row.reason,
        previous=row.previous,
        digest=row.digest,
    )
