"""A whole chain as lines of JSON, to be carried to another store, and back into one.

The first line says what it is, then comes an event a line, its columns as they stand. Nothing is
believed on the way in: the chain is walked as it is taken, and one fault refuses all of it.
"""

import json
from collections.abc import Iterable, Iterator
from itertools import islice
from types import SimpleNamespace
from typing import Any

from sqlalchemy import Row, insert, select
from sqlalchemy.engine import Connection

from annot.errors import InputError
from annot.store.append import lock_chain
from annot.store.audit import ChainWalk, sentence_of
from annot.store.canonical import canonical
from annot.store.record import FIRST_PREVIOUS, Anchor
from annot.store.schema import EventRow

VERSION = 1
ROWS_AT_ONCE = 500
NAMES = tuple(EventRow.__table__.columns.keys())
NUMBERS = ("sequence", "version")


def lines_of_chain(study: str, rows: Iterable[Row[Any]]) -> Iterator[str]:
    """Yield a chain's file line by line.

    Raises
    ------
    InputError
        At the first event that does not hold: a broken chain is not carried on.
    """
    walk = ChainWalk()
    yield canonical({"annot_chain": VERSION, "study": study}) + "\n"
    for row in rows:
        fault = walk.step(row)
        if fault:
            raise InputError(sentence_of(study, fault))
        yield canonical({name: getattr(row, name) for name in NAMES}) + "\n"


def take_chain(connection: Connection, lines: Iterable[str], *, name: str) -> Anchor:
    """Add a chain's events to a store within the caller's transaction.

    A study that the store holds already must be the beginning of this chain; only what it lacks is
    added, so that taking one file twice changes nothing.

    Parameters
    ----------
    lines : iterable of str
        Of the file, read as they are needed.
    name : str
        The file's, for messages.

    Returns
    -------
    Anchor
        The head that the store now holds.

    Raises
    ------
    InputError
        If it is no such file, its chain does not hold, or the store has another one.
    """
    coming = iter(lines)
    study = _study_of(next(coming, ""), name)
    lock_chain(connection, study)
    held = _head(connection, study)
    walk = ChainWalk()
    rows = (_row(line, number, study, name) for number, line in enumerate(coming, start=2))
    while batch := list(islice(rows, ROWS_AT_ONCE)):
        for row in batch:
            fault = walk.step(row)
            if fault:
                raise InputError(f"{name}: {sentence_of(study, fault)} Nothing was taken.")
            if row.sequence == held.sequence and row.digest != held.digest:
                raise _another(name, study)
        fresh = [vars(row) for row in batch if row.sequence > held.sequence]
        if fresh:
            connection.execute(insert(EventRow), fresh)
    if walk.count < held.sequence:
        raise _another(name, study)
    return Anchor(study=study, sequence=walk.count, digest=walk.previous)


def _another(name: str, study: str) -> InputError:
    return InputError(
        f"{name}: the store holds another chain of study {study}, or more of it than the file: "
        "nothing was taken."
    )


def _head(connection: Connection, study: str) -> Anchor:
    row = connection.execute(
        select(EventRow.sequence, EventRow.digest)
        .where(EventRow.study == study)
        .order_by(EventRow.sequence.desc())
        .limit(1)
    ).first()
    sequence, digest = (row.sequence, row.digest) if row else (0, FIRST_PREVIOUS)
    return Anchor(study=study, sequence=sequence, digest=digest)


def _study_of(line: str, name: str) -> str:
    try:
        head = json.loads(line)
        if head["annot_chain"] == VERSION and isinstance(head["study"], str) and head["study"]:
            return str(head["study"])
    except (ValueError, KeyError, TypeError):
        pass
    raise InputError(f"{name} is no chain of version {VERSION}: `annot audit export` writes one.")


def _row(line: str, number: int, study: str, name: str) -> SimpleNamespace:
    """Return a line's columns, as they would stand in a row; the walk judges what they say."""
    try:
        content = json.loads(line)
        kinds = {column: int if column in NUMBERS else str for column in NAMES}
        fits = set(content) == set(NAMES) and content["study"] == study
        if fits and all(type(content[column]) is kind for column, kind in kinds.items()):
            return SimpleNamespace(**content)
    except (ValueError, TypeError):
        pass
    raise InputError(
        f"{name}, line {number}: this is no event of study {study}, so nothing was taken."
    )
