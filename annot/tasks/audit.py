"""Prove that nobody changed what was kept: check chains, tell them in words, write anchors."""

import json
import re
from collections.abc import Iterator, Sequence
from pathlib import Path
from typing import Any

from annot.errors import InputError
from annot.exports import JSON, write_whole
from annot.store import Anchor, ChainReport, Event, Query, Store, connect, in_words
from annot.tasks.counted import Count, counted, uncounted
from annot.tasks.reads_kept import READING_KIND
from annot.tasks.reads_study import READ_KIND
from annot.uncertainty import decimals_for

VERSION = 1


def opened(store: str) -> Store:
    """Open a store that exists already.

    Raises
    ------
    InputError
        If there is none: a check must not make the thing that it checks.
    """
    in_url = re.fullmatch(r"sqlite(?:\+\w+)?://(?:/(.*))?", store)
    file = store if in_url is None else in_url[1] or ""
    if "://" not in file and not Path(file).is_file():
        raise InputError(f"{store}: there is no such store.")
    return connect(store)


def verify(
    store: Store, *, study: str | None = None, anchors: Path | None = None
) -> list[ChainReport]:
    """Check one study's chain, or every study's, and every anchored study besides.

    Raises
    ------
    InputError
        If neither store nor anchors know the one study: a chain that is not there holds nothing.
    """
    known = read_anchors(anchors) if anchors else []
    names = sorted({*store.studies(), *(one.study for one in known)})
    if study:
        _refuse_unknown(study, names)
        names = [study]
    return [
        store.verify_chain(name, anchors=[one for one in known if one.study == name])
        for name in names
    ]


def history(store: Store, study: str) -> Iterator[str]:
    """Yield a study's events in words, oldest first.

    Raises
    ------
    InputError
        If the store has no such study, or when it comes to an event that was altered.
    """
    _refuse_unknown(study, store.studies())
    return (
        in_words(event) + _more(event) for event in store.read(Query(study=study, history=True))
    )


def _more(event: Event) -> str:
    """Return what a read or a reading says: who signed it when, and its number."""
    body: Any = event.record.body
    if event.record.kind == READ_KIND and "signed_at" in body:
        answer = body["meaning"] if body["readable"] else f"not readable: {body['reason']}"
        return f"; signed by {body['reader']} at {body['signed_at']}: {answer}"
    if event.record.kind != READING_KIND or "row" not in body:
        return ""
    row = body["row"]
    if not row:
        return "; withdrawn"
    places = decimals_for(row["u"])
    return f"; {row['value']:.{places}f} ± {row['u']:.{places}f} {row['unit']}"


def _refuse_unknown(study: str, names: Sequence[str]) -> None:
    if study not in names:
        held = f"it has {', '.join(names)}" if names else "it has none"
        raise InputError(f"The store has no study {study}: {held}.")


def write_anchors(reports: list[ChainReport], path: Path) -> None:
    """Write the heads of chains that hold to a file, to be kept away from the store.

    Raises
    ------
    InputError
        If a chain does not hold, or the file cannot be written.
    """
    broken = [one.fault for one in reports if not one.holds]
    if broken:
        raise InputError(f"No anchor is written: {' '.join(broken)}")
    heads = [
        {"study": one.head.study, "sequence": one.head.sequence, "digest": one.head.digest}
        for one in reports
        if one.head
    ]
    write_whole(
        path, json.dumps({"annot_anchors": 1, "heads": heads}, indent=1) + "\n", replaces=JSON
    )


def read_anchors(path: Path) -> list[Anchor]:
    """Read anchors that were written earlier.

    Raises
    ------
    InputError
        If the file cannot be read or holds no anchors.
    """
    try:
        content = json.loads(path.read_text(encoding="utf-8"))
        if content["annot_anchors"] != VERSION:
            raise InputError(f"{path}: this program reads anchors of version {VERSION}.")
        return [_anchor(one) for one in content["heads"]]
    except OSError as fault:
        raise InputError(f"{path}: the anchors cannot be read: {fault.strerror}.") from None
    except (ValueError, KeyError, TypeError):
        raise InputError(f"{path} holds no anchors; `annot audit anchor` writes them.") from None


def _anchor(head: dict[str, object]) -> Anchor:
    study, sequence, digest = head["study"], head["sequence"], head["digest"]
    if not (isinstance(study, str) and isinstance(digest, str) and type(sequence) is int):
        raise TypeError("a head holds two texts and a whole number")
    return Anchor(study=study, sequence=sequence, digest=digest)


def write_chain(store: Store, study: str, path: Path, *, count: Count = uncounted) -> Anchor:
    """Write a study's whole chain to a file and return its head.

    Raises
    ------
    InputError
        If the store has no such study, its chain does not hold, or the file cannot be written.
    """
    _refuse_unknown(study, store.studies())
    write_whole(path, counted(store.lines_of_chain(study), count), replaces=JSON)
    last = ""
    with path.open(encoding="utf-8") as lines:
        for line in lines:
            last = line
    event = json.loads(last)
    return Anchor(study=study, sequence=event["sequence"], digest=event["digest"])


def take_chain(store: str, path: Path, *, count: Count = uncounted) -> Anchor:
    """Take a chain from a file into a store and return its head; taking it twice changes nothing.

    Raises
    ------
    InputError
        If the file cannot be read, its chain does not hold, or the store has another one.
    """
    try:
        with path.open(encoding="utf-8") as lines:
            opened_store = connect(store)
            try:
                return opened_store.take_chain(counted(lines, count), name=path.name)
            finally:
                opened_store.close()
    except OSError as fault:
        raise InputError(f"{path}: the chain cannot be read: {fault.strerror}.") from None
    except UnicodeDecodeError:
        raise InputError(f"{path} is no chain: it is not text in UTF-8.") from None
