"""What a study's store keeps of reads: the reads themselves, readings, and readers' repeats."""

from collections.abc import Mapping
from dataclasses import asdict, dataclass, field
from pathlib import Path
from typing import Any

from annot.measurement.repeats import Reading
from annot.reads import Read, parse, read_of
from annot.reads.signed_file import MEANING
from annot.store import Event, Query
from annot.tasks.reads_study import READ_KIND, Study

READING_KIND, REPEATS_KIND = "reading", "repeats"
COLLECTED = "collected"
Row = dict[str, Any]


@dataclass(frozen=True, slots=True, kw_only=True)
class KeptRead:
    """One showing's read as the store keeps it.

    Attributes
    ----------
    code, reader, package : str
    version : int
        1 as the reader signed it, higher where the laboratory amended it.
    readable : bool
    reason : str
        Why the loop is not readable.
    signed_at, sha256 : str
        When the reader signed which file.
    document : mapping
        The read file's content.
    """

    code: str
    reader: str
    package: str
    readable: bool
    reason: str
    signed_at: str
    sha256: str
    document: Mapping[str, Any]
    version: int = 1

    def body(self) -> dict[str, Any]:
        """Return it as it is kept."""
        content = asdict(self)
        del content["version"]
        return {**content, "meaning": MEANING}

    def read(self) -> Read:
        """Return what was read."""
        import json

        return read_of(parse(json.dumps(dict(self.document)), name=self.code), name=self.code)


def kept_read(event: Event) -> KeptRead:
    """Return the read that an event keeps."""
    body: Any = event.record.body
    content = {name: part for name, part in body.items() if name != "meaning"}
    return KeptRead(**content, version=event.version)


def reads_of(study: Study) -> dict[str, KeptRead]:
    """Return every read that holds now, by its showing's code."""
    found = study.store.read(Query(study=study.file.code, kind=READ_KIND))
    return {event.record.key: kept_read(event) for event in found}


@dataclass(frozen=True, slots=True, kw_only=True)
class KeptReading:
    """One number as the store keeps it.

    Attributes
    ----------
    key : str
        Showing, caliper and outcome.
    code, loop : str
        Its showing, and the loop's fingerprint.
    row : dict
        The table's row; empty where the caliper is gone.
    drawn : dict or None
        The number as it was drawn by hand, for repeats; None for others.
    mm_per_px : float or None
        Scale down the rows under which `drawn` stands.
    read_version, repeats_version : int
        Of the read and of the reader's repeats it rests on; 0 where it rests on none.
    version : int
    """

    key: str
    code: str
    loop: str
    row: Row
    drawn: dict[str, Any] | None
    mm_per_px: float | None
    read_version: int
    repeats_version: int
    version: int = field(default=0, compare=False)

    @property
    def withdrawn(self) -> bool:
        """Whether what it measured is no longer drawn."""
        return not self.row

    def body(self) -> dict[str, Any]:
        """Return it as it is kept."""
        content = asdict(self)
        del content["version"], content["key"]
        return content

    def reading(self) -> Reading | None:
        """Return it as repeats are told from, None where it was not drawn by hand."""
        return None if self.drawn is None else Reading(**self.drawn)


def kept_reading(event: Event) -> KeptReading:
    """Return the reading that an event keeps."""
    body: Any = event.record.body
    return KeptReading(**body, key=event.record.key, version=event.version)


def readings_of(study: Study) -> dict[str, KeptReading]:
    """Return every reading that holds now, by its key."""
    found = study.store.read(Query(study=study.file.code, kind=READING_KIND))
    return {event.record.key: kept_reading(event) for event in found}


def loop_path(study: Study, code: str) -> Path:
    """Return where the laboratory keeps the blinded loop of a showing that came back."""
    return study.folder / COLLECTED / f"{code}.dcm"
