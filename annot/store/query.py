"""The only reader: events and what holds now, row by row so that memory stays bounded."""

from collections.abc import Generator, Iterator
from dataclasses import dataclass
from typing import Any

from sqlalchemy import Row, Select, and_, func, select
from sqlalchemy.engine import Connection

from annot.errors import InputError
from annot.store.mapping import as_written, event_of
from annot.store.record import Event
from annot.store.schema import EventRow

ROWS_AT_ONCE = 1000


@dataclass(frozen=True, slots=True, kw_only=True)
class Query:
    """Which events are asked for.

    Attributes
    ----------
    study : str
    kind : str, tuple of str or None
        One kind, several, or None for all.
    key : str or None
        None for all.
    history : bool
        Every version, instead of the one that holds now.
    """

    study: str
    kind: str | tuple[str, ...] | None = None
    key: str | None = None
    history: bool = False


def events_of(connection: Connection, query: Query) -> Iterator[Event]:
    """Yield events in the order of the chain.

    Raises
    ------
    InputError
        At an event whose content does not give its digest: what was altered never leaves.
    """
    about = [EventRow.study == query.study]
    if query.kind is not None:
        kinds = (query.kind,) if isinstance(query.kind, str) else query.kind
        about.append(EventRow.kind.in_(kinds))
    if query.key is not None:
        about.append(EventRow.key == query.key)
    # the newest version of each kind and key
    newest = (
        select(EventRow.kind, EventRow.key, func.max(EventRow.version).label("version"))
        .where(*about)
        .group_by(EventRow.kind, EventRow.key)
        .subquery()
    )
    asked: Select[tuple[EventRow]] = select(EventRow.__table__).where(*about)
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
            yield _unaltered(row)


def _unaltered(row: Row[Any]) -> Event:
    try:
        event = event_of(row)
        if as_written(row, event):
            return event
    except (ValueError, TypeError, InputError):
        pass
    raise InputError(
        f"Study {row.study}: event {row.sequence} was altered or is no longer readable, so nothing "
        "is taken from it: `annot audit verify` looks at the whole chain."
    )


def rows_of_chain(connection: Connection, study: str) -> Generator[Row[Any]]:
    """Yield a study's rows as they stand, without taking them for events."""
    asked = select(EventRow.__table__).where(EventRow.study == study).order_by(EventRow.sequence)
    with connection.execution_options(yield_per=ROWS_AT_ONCE).execute(asked) as rows:
        yield from rows


def studies_of(connection: Connection) -> list[str]:
    """Return the names of all studies."""
    return list(connection.scalars(select(EventRow.study).distinct().order_by(EventRow.study)))
