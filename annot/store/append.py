"""The only writer: events are added to the end of a study's chain, and nothing else happens."""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import UTC, datetime

from sqlalchemy import func, insert, select, text
from sqlalchemy.engine import Connection

from annot.errors import InputError
from annot.store.mapping import event_of, row_of
from annot.store.record import AFTER_FREEZE, FIRST_PREVIOUS, FREEZE, Event, Record
from annot.store.schema import EventRow


class SupersededError(InputError):
    """Somebody else changed the record since it was read; nothing was written."""


class FrozenError(InputError):
    """The study was closed for good; nothing was written."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Intent:
    """One act to be kept.

    Attributes
    ----------
    record : Record
    token : str
        Unique within the study. An act that is repeated with the same token is kept once.
    actor, reason : str
        `reason` may be empty for a first version only.
    at : datetime
        With its time zone; kept in UTC.
    seen_version : int
        The version that the actor had before the eyes, 0 for something new.
    """

    record: Record
    token: str
    actor: str
    at: datetime
    reason: str = ""
    seen_version: int = 0


def append_in(connection: Connection, study: str, intents: Sequence[Intent]) -> list[Event]:
    """Add events to one study's chain within the caller's transaction.

    Raises
    ------
    SupersededError
        If a record has another version than the actor saw.
    FrozenError
        If the study was frozen.
    InputError
        If an intent is incomplete, or its token stands for another act.
    """
    lock_chain(connection, study)
    head = connection.execute(
        select(EventRow.sequence, EventRow.digest)
        .where(EventRow.study == study)
        .order_by(EventRow.sequence.desc())
        .limit(1)
    ).first()
    sequence, previous = (head.sequence, head.digest) if head else (0, FIRST_PREVIOUS)
    known = _known(connection, study, [one.token for one in intents])
    freeze = _freeze(connection, study)
    versions = _versions(connection, study, intents)
    events, fresh = [], []
    for intent in intents:
        _refuse_incomplete(intent, study)
        place = (intent.record.kind, intent.record.key)
        before = known.get(intent.token)
        if before is None:
            _refuse_frozen(freeze, intent.record)
            _refuse_stale(connection, intent, versions.get(place, 0))
            event = _event(intent, sequence + 1, previous)
            sequence, previous = event.sequence, event.digest
            versions[place] = event.version
            freeze = event if event.record.kind == FREEZE else freeze
            known[intent.token] = event
            fresh.append(event)
        else:
            event = _same_act(before, intent)
        events.append(event)
    if fresh:
        connection.execute(insert(EventRow), [row_of(event) for event in fresh])
    return events


def lock_chain(connection: Connection, study: str) -> None:
    """Let one writer at a time add to a study's chain; SQLite locks the whole file by itself."""
    if connection.dialect.name == "postgresql":
        connection.execute(
            text("SELECT pg_advisory_xact_lock(hashtextextended(:study, 0))"), {"study": study}
        )


def _freeze(connection: Connection, study: str) -> Event | None:
    query = select(EventRow.__table__).where(EventRow.study == study, EventRow.kind == FREEZE)
    row = connection.execute(query.limit(1)).first()
    return event_of(row) if row else None


def _refuse_frozen(freeze: Event | None, record: Record) -> None:
    if freeze is not None and record.kind not in AFTER_FREEZE:
        when = f"{freeze.at:%Y-%m-%d %H:%M:%S} UTC"
        raise FrozenError(
            f"Study {record.study} was frozen by {freeze.actor} at {when}: nothing joins it any "
            "more."
        )


def _known(connection: Connection, study: str, tokens: Sequence[str]) -> dict[str, Event]:
    found: dict[str, Event] = {}
    for part in _pieces(tokens):
        query = select(EventRow).where(EventRow.study == study, EventRow.token.in_(part))
        found |= {row.token: event_of(row) for row in connection.execute(query)}
    return found


def _pieces(items: Sequence[str], *, size: int = 500) -> list[Sequence[str]]:
    """Cut a list to what one statement may carry."""
    return [items[start : start + size] for start in range(0, len(items), size)]


def _versions(
    connection: Connection, study: str, intents: Sequence[Intent]
) -> dict[tuple[str, str], int]:
    found: dict[tuple[str, str], int] = {}
    keys: dict[str, set[str]] = {}
    for one in intents:
        keys.setdefault(one.record.kind, set()).add(one.record.key)
    # kind by kind, so that the index finds the keys and does not walk through the whole study
    for kind, named in keys.items():
        for part in _pieces(sorted(named)):
            query = (
                select(EventRow.key, func.max(EventRow.version))
                .where(EventRow.study == study, EventRow.kind == kind, EventRow.key.in_(part))
                .group_by(EventRow.key)
            )
            found |= {(kind, key): version for key, version in connection.execute(query)}
    return found


def _refuse_incomplete(intent: Intent, study: str) -> None:
    record = intent.record
    if record.study != study:
        raise InputError(f"A record of study {record.study} cannot join the chain of {study}.")
    if not all((record.study, record.kind, record.key, intent.token, intent.actor)):
        raise InputError("An event needs a study, a kind, a key, a token and an actor.")
    if intent.at.tzinfo is None:
        raise InputError("An event's time needs its time zone.")
    if intent.seen_version > 0 and not intent.reason.strip():
        raise InputError(f"{record.kind} {record.key}: superseding it needs a reason.")


def _refuse_stale(connection: Connection, intent: Intent, version: int) -> None:
    if intent.seen_version == version:
        return
    record = intent.record
    now = connection.execute(
        select(EventRow.actor, EventRow.at)
        .where(
            EventRow.study == record.study,
            EventRow.kind == record.kind,
            EventRow.key == record.key,
            EventRow.version == version,
        )
        .limit(1)
    ).first()
    words = f"{now.actor} wrote version {version} at {now.at}" if now else "it does not exist"
    raise SupersededError(
        f"{record.kind} {record.key} was read as version {intent.seen_version}, but {words}: "
        "look at it again; nothing was written."
    )


def _event(intent: Intent, sequence: int, previous: str) -> Event:
    bare = Event(
        record=intent.record,
        sequence=sequence,
        version=intent.seen_version + 1,
        token=intent.token,
        actor=intent.actor,
        at=intent.at.astimezone(UTC),
        reason=intent.reason,
        previous=previous,
        digest="",
    )
    return replace(bare, digest=bare.recomputed())


def _same_act(before: Event, intent: Intent) -> Event:
    """Return the event already kept for this act; another act under its token is refused.

    A repeated attempt comes later, so its time may differ. Somebody else, or the same person for
    another reason, does another act: taken for a repeat, who and why would be lost in silence.
    """
    kept = (before.record, before.version, before.actor, before.reason)
    if kept != (intent.record, intent.seen_version + 1, intent.actor, intent.reason):
        raise InputError(
            f"The token {intent.token} was used for another act; give each act its own."
        )
    return before
