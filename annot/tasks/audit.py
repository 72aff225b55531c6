"""Prove that nobody changed what was kept: check chains, tell them in words, write anchors."""

import json
from collections.abc import Iterator
from pathlib import Path

from annot.errors import InputError
from annot.exports import JSON, write_whole
from annot.store import Anchor, ChainReport, Query, Store, connect, in_words

VERSION = 1


def opened(store: str) -> Store:
    """Open a store that exists already.

    Raises
    ------
    InputError
        If there is none: a check must not make the thing that it checks.
    """
    if "://" not in store and not Path(store).is_file():
        raise InputError(f"{store}: there is no such store.")
    return connect(store)


def verify(
    store: Store, *, study: str | None = None, anchors: Path | None = None
) -> list[ChainReport]:
    """Check one study's chain, or every study's, and every anchored study besides."""
    known = read_anchors(anchors) if anchors else []
    names = [study] if study else sorted({*store.studies(), *(one.study for one in known)})
    return [
        store.verify_chain(name, anchors=[one for one in known if one.study == name])
        for name in names
    ]


def history(store: Store, study: str) -> Iterator[str]:
    """Yield a study's events in words, oldest first."""
    return (in_words(event) for event in store.read(Query(study=study, history=True)))


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
        return [
            Anchor(study=one["study"], sequence=int(one["sequence"]), digest=one["digest"])
            for one in content["heads"]
        ]
    except OSError as fault:
        raise InputError(f"{path}: the anchors cannot be read: {fault.strerror}.") from None
    except (ValueError, KeyError, TypeError):
        raise InputError(f"{path} holds no anchors; `annot audit anchor` writes them.") from None
