"""A store by its URL: SQLite in one file, or PostgreSQL for several readers at once."""

from collections.abc import Iterable, Iterator, Sequence
from contextlib import closing, contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from sqlalchemy import create_engine, event
from sqlalchemy.engine import URL, Connection, Engine, make_url
from sqlalchemy.exc import ArgumentError, DBAPIError, NoSuchModuleError
from sqlalchemy.pool import NullPool

from annot.errors import InputError
from annot.store.append import Intent, append_in
from annot.store.audit import check_chain
from annot.store.chain_file import lines_of_chain, take_chain
from annot.store.query import Query, events_of, rows_of_chain, studies_of
from annot.store.record import Anchor, ChainReport, Event

BUSY_SECONDS = 60


@dataclass(frozen=True, slots=True)
class Store:
    """A store that is open. Rows are added, read and checked; nothing else is possible.

    Between two acts it holds no connection, so that one which is forgotten leaves nothing open.
    """

    engine: Engine

    def append(self, *intents: Intent) -> tuple[Event, ...]:
        """Keep acts of one study in one transaction: all of them or none.

        Raises
        ------
        SupersededError
            If somebody else changed one of the records meanwhile.
        InputError
            If an act is incomplete or the database cannot be reached.
        """
        if not intents:
            return ()
        with self._connected(writes=True) as connection:
            return tuple(append_in(connection, intents[0].record.study, intents))

    def read(self, query: Query) -> Iterator[Event]:
        """Yield the events asked for, in the order of the chain."""
        with self._connected() as connection:
            yield from events_of(connection, query)

    def studies(self) -> list[str]:
        """Return the names of all studies."""
        with self._connected() as connection:
            return studies_of(connection)

    def verify_chain(self, study: str, *, anchors: Sequence[Anchor] = ()) -> ChainReport:
        """Check a study's chain from its first event to its last."""
        with (
            self._connected() as connection,
            closing(rows_of_chain(connection, study)) as rows,
        ):
            return check_chain(study, rows, anchors=anchors)

    def lines_of_chain(self, study: str) -> Iterator[str]:
        """Yield a study's whole chain as the lines of a file; a broken chain is refused."""
        with (
            self._connected() as connection,
            closing(rows_of_chain(connection, study)) as rows,
        ):
            yield from lines_of_chain(study, rows)

    def take_chain(self, lines: Iterable[str], *, name: str) -> Anchor:
        """Take a chain from a file's lines, whole or not at all; return its head.

        Raises
        ------
        InputError
            If a line is at fault, the chain does not hold, or the store has another one.
        """
        with self._connected(writes=True) as connection:
            return take_chain(connection, lines, name=name)

    def close(self) -> None:
        """Let go of every connection."""
        self.engine.dispose()

    @contextmanager
    def _connected(self, *, writes: bool = False) -> Iterator[Connection]:
        try:
            with (
                self.engine.connect().execution_options(writes=writes) as connection,
                connection.begin(),
            ):
                yield connection
        except DBAPIError as fault:
            raise InputError(f"The store {_named(self.engine.url)}: {_words(fault)}.") from None


def connect(url: str) -> Store:
    """Open a store, made and brought up to date where it is not.

    Parameters
    ----------
    url : str
        A path to a file, or `postgresql://…`.

    Raises
    ------
    InputError
        If the URL is none, its driver is missing, or the database cannot be reached.
    """
    engine = _engine(_url(url))
    from annot.store.migrating import bring_up_to_date

    try:
        bring_up_to_date(engine)
    except DBAPIError as fault:
        engine.dispose()
        raise InputError(
            f"The store {_named(engine.url)} cannot be opened: {fault.orig}."
        ) from None
    return Store(engine)


def _url(text: str) -> URL:
    if "://" not in text:
        return URL.create("sqlite", database=str(Path(text)))
    try:
        url = make_url(text)
    except ArgumentError:
        raise InputError(f"'{text}' is no store: give a file, or postgresql://host/name.") from None
    if url.get_backend_name() == "postgresql":
        return url.set(drivername="postgresql+psycopg")
    if url.get_backend_name() == "sqlite":
        return url
    raise InputError(f"A store is a SQLite file or PostgreSQL, not {url.get_backend_name()}.")


def _engine(url: URL) -> Engine:
    try:
        if url.get_backend_name() != "sqlite":
            return create_engine(url, poolclass=NullPool)
        timeout = {"timeout": BUSY_SECONDS}
        engine = create_engine(url, poolclass=NullPool, connect_args=timeout)
    except (NoSuchModuleError, ModuleNotFoundError):
        raise InputError(
            "PostgreSQL needs its driver: install this program with the extra 'postgres'."
        ) from None
    event.listen(engine, "connect", _prepare_sqlite)
    event.listen(engine, "begin", _begin_sqlite)
    return engine


def _prepare_sqlite(raw: Any, _: object) -> None:
    # the driver's own transactions begin too late to keep a second writer from the same version
    raw.isolation_level = None
    # bytes that are no text any more must come out, so that checking a chain can name their event
    raw.text_factory = _text_of
    for pragma in ("journal_mode=WAL", "foreign_keys=ON", "synchronous=FULL"):
        raw.execute(f"PRAGMA {pragma}")


def _text_of(stored: bytes) -> str:
    return stored.decode("utf-8", "surrogateescape")


def _begin_sqlite(connection: Connection) -> None:
    writes = connection.get_execution_options().get("writes", False)
    connection.exec_driver_sql("BEGIN IMMEDIATE" if writes else "BEGIN")


def _named(url: URL) -> str:
    return url.database or "" if url.get_backend_name() == "sqlite" else url.render_as_string()


def _words(fault: DBAPIError) -> str:
    """Return the database's own first line, which says what it could not do."""
    return str(fault.orig).strip().splitlines()[0].rstrip(".")
