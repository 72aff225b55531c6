"""The only reader: events and what holds now, row by row so that memory stays bounded."""

from collections.abc import Generator, Iterator
from dataclasses import dataclass
from typing import Any

from sqlalchemy import Row, Select, and_, func, select
from sqlalchemy.engine import Connection

from annot.store.mapping import event_of
from annot.store.record import Event
from annot.store.schema import EventRow

ROWS_AT_ONCE = 1000


@dataclass(frozen=True, slots=True, kw_only=True)
class Query:
    """Which events are asked for.

    Attributes
    ----------
    study : str
    kind, key : str or None
        None for all.
    history : bool
        Every version, instead of the one that holds now.
    """

    study: str
    kind: str | None = None
    key: str | None = None
    history: bool = False


def events_of(connection: Connection, query: Query) -> Iterator[Event]:
    """Yield events in the order of the chain."""
    # the newest version of each kind and key
    newest = (
        select(EventRow.kind, EventRow.key, func.max(EventRow.version).label("version"))
        .where(EventRow.study == query.study)
        .group_by(EventRow.kind, EventRow.key)
        .subquery()
    )
    asked: Select[tuple[EventRow]] = select(EventRow.__table__).where(EventRow.study == query.study)
    if query.kind is not None:
        asked = asked.where(EventRow.kind == query.kind)
    if query.key is not None:
        asked = asked.where(EventRow.key == query.key)
    if not query.history:
        asked = asked.join(
            newest,
            and_(
                EventRow.kind == newest.c.kind,
                EventRow.key == newest.c.key,
                EventRow.version == newest.c.version,
            ),
        )
    with connection.execution_options(yield_per=ROWS_AT_ONCE).execute(
        asked.order_by(EventRow.sequence)
    ) as rows:
        for row in rows:
            yield event_of(row)


def rows_of_chain(connection: Connection, study: str) -> Generator[Row[Any]]:
    """Yield a study's rows as they stand, without taking them for events."""
    asked = select(EventRow.__table__).where(EventRow.study == study).order_by(EventRow.sequence)
    with connection.execution_options(yield_per=ROWS_AT_ONCE).execute(asked) as rows:
        yield from rows


def studies_of(connection: Connection) -> list[str]:
    """Return the names of all studies."""
    return list(connection.scalars(select(EventRow.study).distinct().order_by(EventRow.study)))
