"""Open a study that is read blinded: its folder, its store, and what the store keeps of it.

The store is what holds. The study file beside it shows the same to people and is written anew at
every change; who edits it changes nothing.
"""

import hashlib
import json
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

from annot.errors import InputError
from annot.exports import JSON, write_whole
from annot.reads.assignment import Presentation
from annot.reads.blinding import PictureMask
from annot.reads.protocol_file import load_protocol
from annot.reads.study_file import (
    STUDY_FILE,
    MaskPart,
    StudyFile,
    StudyLoopPart,
    dump_study,
    filled,
    parse_study,
)
from annot.store import Intent, Query, Record, Store, connect
from annot.vocabulary.protocol import Protocol

STUDY_KIND, LOOP_KIND, ASSIGNMENT_KIND = "study", "loop", "assignment"
PACKAGE_KIND, READ_KIND, UNBLINDING_KIND = "package", "read", "unblinding"
ASSIGNMENT_KEY = "main"
OPENED_KINDS = (
    STUDY_KIND, LOOP_KIND, ASSIGNMENT_KIND, PACKAGE_KIND, READ_KIND, UNBLINDING_KIND,
)  # fmt: skip


@dataclass(frozen=True, slots=True, kw_only=True)
class Study:
    """A study that is open.

    Attributes
    ----------
    folder : Path
    file : StudyFile
        What the store keeps of it now.
    protocol : Protocol
        The whole one, as only the laboratory knows it.
    store : Store
    versions : dict
        Version of what was read, by kind and key, for changes to be refused that others overtook.
    presentations : tuple of Presentation
        Every showing to every reader; empty before it is assigned.
    """

    folder: Path
    file: StudyFile
    protocol: Protocol
    store: Store
    versions: dict[tuple[str, str], int]
    presentations: tuple[Presentation, ...] = ()

    def shown_to(self, reader: str) -> tuple[Presentation, ...]:
        """Return a reader's list in its order."""
        return tuple(one for one in self.presentations if one.reader == reader)

    def loop(self, fingerprint: str) -> StudyLoopPart:
        """Return the loop of a fingerprint."""
        return next(one for one in self.file.loops if one.fingerprint == fingerprint)

    def note(self, kind: str, key: str, body: Any, *, by: str, reason: str = "") -> None:
        """Keep one act in the store; refused if another person acted on the same meanwhile."""
        self.store.append(self.intent(kind, key, body, by=by, reason=reason))

    def intent(self, kind: str, key: str, body: Any, *, by: str, reason: str = "") -> Intent:
        """Return the act as the store takes it, at this moment."""
        seen = self.versions.get((kind, key), 0)
        record = Record(study=self.file.code, kind=kind, key=key, body=body)
        said = json.dumps([by, reason, body], sort_keys=True).encode()
        return Intent(
            record=record,
            # said twice by one person it is one act; said by two, the second is told of the first
            token=f"{kind}:{key}:{seen + 1}:{hashlib.sha256(said).hexdigest()[:16]}",
            actor=by,
            at=datetime.now(UTC),
            reason=reason,
            seen_version=seen,
        )


def open_study(folder: Path) -> Study:
    """Open a study's folder.

    Raises
    ------
    InputError
        If it is no study, its protocol's copy was changed, or the store has no such study.
    """
    path = folder / STUDY_FILE
    try:
        written = parse_study(path.read_text(encoding="utf-8"), name=str(path))
    except OSError as fault:
        raise InputError(
            f"{folder} is no study: {STUDY_FILE} cannot be opened there: {fault.strerror}."
        ) from None
    except UnicodeDecodeError:
        raise InputError(f"{path} is no study file: it is not text in UTF-8.") from None
    store = open_store(written.store, folder)
    return _kept(folder, written, store)


def open_store(store: str, folder: Path) -> Store:
    """Open a study's store, by its URL or its file in the study's folder."""
    if "://" in store:
        return connect(store)
    path = folder / store
    if not path.is_file():
        raise InputError(f"{path}: the study's store is missing, so nothing of it is known.")
    return connect(str(path))


def _kept(folder: Path, written: StudyFile, store: Store) -> Study:
    versions: dict[tuple[str, str], int] = {}
    bodies: dict[tuple[str, str], Any] = {}
    # not the readings, of which there may be many thousands
    for event in store.read(Query(study=written.code, kind=OPENED_KINDS)):
        place = (event.record.kind, event.record.key)
        versions[place], bodies[place] = event.version, event.record.body
    first = bodies.get((STUDY_KIND, written.code))
    if first is None:
        raise InputError(f"The store {written.store} keeps no study {written.code}.")
    loops = tuple(
        filled(StudyLoopPart, body, name=f"{written.store}, loop {key}")
        for (kind, key), body in bodies.items()
        if kind == LOOP_KIND
    )
    assigned = bodies.get((ASSIGNMENT_KIND, ASSIGNMENT_KEY)) or {}
    file = filled(
        StudyFile,
        {
            **first,
            "loops": sorted(loops, key=lambda one: one.label),
            "seed": assigned.get("seed"),
            "readers": tuple(assigned.get("readers", ())),
        },
        name=written.store,
    )
    return Study(
        folder=folder,
        file=file,
        protocol=_protocol(folder, file),
        store=store,
        versions=versions,
        presentations=tuple(Presentation(**one) for one in assigned.get("presentations", ())),
    )


def _protocol(folder: Path, file: StudyFile) -> Protocol:
    protocol = load_protocol(file.protocol.file, beside=folder)
    if protocol.fingerprint != file.protocol.fingerprint:
        raise InputError(
            f"{folder / file.protocol.file} was changed since study {file.code} was made; put the "
            "protocol back, or make another study."
        )
    return protocol


def write_mirror(study: Study) -> None:
    """Write the study file anew from what the store keeps."""
    write_whole(study.folder / STUDY_FILE, dump_study(study.file), replaces=JSON)


def mask_of(part: MaskPart) -> PictureMask:
    """Return a study's mask as the frozen type that pictures are masked by."""
    return PictureMask(shown=part.shown, hidden=part.hidden)


def file_digest(path: Path) -> str:
    """Return a file's SHA-256.

    Raises
    ------
    InputError
        If it cannot be read.
    """
    try:
        with path.open("rb") as stream:
            return hashlib.file_digest(stream, "sha256").hexdigest()
    except OSError as fault:
        raise InputError(f"{path} cannot be read: {fault.strerror}.") from None
