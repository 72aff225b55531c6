"""Look at one batch of an archive's files: a line of plain values for each, nothing kept open.

What a worker of a sweep does; it is called by name in other processes.
"""

from dataclasses import dataclass
from pathlib import Path
from typing import Any, NamedTuple

from annot.errors import LoopError
from annot.loops import LoopHeader, read_header
from annot.loops.archives import UNREADABLE as UNREADABLE_ARCHIVE
from annot.loops.archives import is_archive, members
from annot.loops.finding import is_marked
from annot.loops.header_glance import HeaderGlance, glance
from annot.tasks.check.header_findings import UNREADABLE, Finding, HeaderVerdict, verdict_of
from annot.tasks.check.whole_header import glance_of, verdict_of_whole

Line = dict[str, Any]


class FileStamp(NamedTuple):
    """A file as it was met: path, size in bytes, time of its last change in ns."""

    path: str
    size: int
    mtime_ns: int


@dataclass(frozen=True, slots=True)
class Swept:
    """What was seen of one file: its stamp and a line for each loop in it (none: no DICOM)."""

    stamp: FileStamp
    lines: tuple[Line, ...]


def look(batch: tuple[FileStamp, ...]) -> tuple[Swept, ...]:
    """Look at the files of a batch, one after the other."""
    return tuple(Swept(stamp, _lines_of(Path(stamp.path))) for stamp in batch)


def _lines_of(path: Path) -> tuple[Line, ...]:
    try:
        return (_line(path),)
    except LoopError as fault:
        try:
            if is_marked(path):
                return (_unreadable(path, fault.message),)
            return _inside(path) if is_archive(path) else ()
        except (OSError, LoopError, *UNREADABLE_ARCHIVE) as other:
            words = other.message if isinstance(other, LoopError) else fault.message
            return (_unreadable(path, words),)


def _inside(archive: Path) -> tuple[Line, ...]:
    found = []
    for member in members(archive):
        try:
            found.append(_line(member.path))
        except LoopError as fault:
            if is_marked(member.path):
                found.append(_unreadable(member.path, fault.message))
    return tuple(found)


def _line(path: Path) -> Line:
    seen = glance(path)
    verdict: HeaderVerdict
    if seen.whole:
        header: LoopHeader = read_header(path)
        seen = glance_of(header, seen)
        verdict = verdict_of_whole(header)
    else:
        verdict = verdict_of(seen)
    return _as_line(seen, verdict)


def _as_line(seen: HeaderGlance, verdict: HeaderVerdict) -> Line:
    return {
        "path": str(seen.path),
        "sop": seen.sop_instance_uid,
        "modality": seen.modality,
        "station": seen.station,
        "system": seen.system,
        "software": seen.software,
        "date": seen.date,
        "scale": verdict.mm_per_px,
        "findings": [[one.kind, one.reason] for one in verdict.findings],
    }


def _unreadable(path: Path, words: str) -> Line:
    nothing = Finding(UNREADABLE, words.removeprefix(f"{path.name}: ").rstrip("."))
    return {
        "path": str(path),
        "sop": "",
        "modality": "",
        "station": "",
        "system": "",
        "software": "",
        "date": "",
        "scale": None,
        "findings": [[nothing.kind, nothing.reason]],
    }
