"""What a sweep found, put together line by line so that memory does not grow with the archive."""

import csv
import os
from collections import Counter
from collections.abc import Collection, Iterable, Iterator
from dataclasses import asdict, dataclass, field
from heapq import nsmallest
from itertools import pairwise
from pathlib import Path
from typing import TextIO

from annot.errors import InputError
from annot.exports.csv_file import cell_text
from annot.tasks.check.header_findings import KINDS
from annot.tasks.check.look import Line
from annot.tasks.check.sweep_journal import journal_lines

MOST_LISTED = 1000
HEADS = ("path", "kind", "reason", "modality", "date", "station", "software", "sop_instance_uid")


@dataclass(frozen=True, slots=True, kw_only=True)
class SoftwareChange:
    """A system's software changed: between which days (YYYYMMDD) of its loops, as found."""

    station: str
    modality: str
    before: str
    after: str
    last_before: str
    first_after: str
    loops_after: int


@dataclass(frozen=True, slots=True, kw_only=True)
class SweepSummary:
    """What a sweep found.

    Attributes
    ----------
    files, resumed, loops, with_scale : int
        Files looked at, of these in an earlier run, loops in them, loops with a header scale.
    counts : mapping of kind to number of findings
    listed : tuple
        The first 1,000 findings by path, as (path, kind, reason).
    software : tuple of SoftwareChange
    undated : int
        Loops without any date, which tell nothing of when software changed.
    met : tuple of str
        Which of the SOP instance UIDs asked for are in the archive.
    """

    files: int
    resumed: int
    loops: int
    with_scale: int
    counts: dict[str, int] = field(default_factory=dict)
    listed: tuple[tuple[str, str, str], ...] = ()
    software: tuple[SoftwareChange, ...] = ()
    undated: int = 0
    met: tuple[str, ...] = ()

    def as_dict(self) -> dict[str, object]:
        """Return it for machines."""
        return {
            "files": self.files,
            "resumed": self.resumed,
            "loops": self.loops,
            "with_scale": self.with_scale,
            "counts": self.counts,
            "findings": [
                {"path": path, "kind": kind, "reason": reason} for path, kind, reason in self.listed
            ],
            "not_listed": sum(self.counts.values()) - len(self.listed),
            "software_changes": [asdict(one) for one in self.software],
            "undated": self.undated,
        }


@dataclass(slots=True)
class _Use:
    """When one version of software was seen on a system."""

    first: str
    last: str
    loops: int = 0


class _Tally:
    """Counts that grow with the number of systems, not of loops."""

    def __init__(self) -> None:
        self.loops = self.with_scale = self.undated = 0
        self.counts: Counter[str] = Counter(dict.fromkeys(KINDS, 0))
        self.used: dict[tuple[str, str], dict[str, _Use]] = {}

    def add(self, line: Line) -> None:
        self.loops += 1
        self.with_scale += line["scale"] is not None
        self.counts.update(kind for kind, _ in line["findings"])
        date, software = line["date"], line["software"]
        if not date:
            self.undated += 1
        elif line["station"] and software:
            versions = self.used.setdefault((line["station"], line["modality"]), {})
            use = versions.setdefault(software, _Use(first=date, last=date))
            use.first, use.last = min(use.first, date), max(use.last, date)
            use.loops += 1

    def changes(self) -> Iterator[SoftwareChange]:
        for (station, modality), versions in sorted(self.used.items()):
            known = sorted(versions.items(), key=lambda one: (one[1].first, one[0]))
            for (before, old), (after, new) in pairwise(known):
                yield SoftwareChange(
                    station=station,
                    modality=modality,
                    before=before,
                    after=after,
                    last_before=old.last,
                    first_after=new.first,
                    loops_after=new.loops,
                )


def summary_of(
    journal: Path, *, files: int, resumed: int, watch: Collection[str] = ()
) -> SweepSummary:
    """Return what a journal holds, and which of the loops to watch for are in it."""
    tally, met = _Tally(), set()

    def findings() -> Iterator[tuple[str, str, str]]:
        for line in journal_lines(journal):
            tally.add(line)
            if line["sop"] in watch:
                met.add(line["sop"])
            for kind, reason in line["findings"]:
                yield line["path"], kind, reason

    listed = nsmallest(MOST_LISTED, findings())
    return SweepSummary(
        files=files,
        resumed=resumed,
        loops=tally.loops,
        with_scale=tally.with_scale,
        counts=dict(tally.counts),
        listed=tuple(listed),
        software=tuple(tally.changes()),
        undated=tally.undated,
        met=tuple(sorted(met)),
    )


def write_findings(journal: Path, target: Path) -> int:
    """Write every finding of a journal as CSV (UTF-8, RFC 4180), whole or not at all.

    Returns
    -------
    int
        Number of findings.

    Raises
    ------
    InputError
        If the target holds something else than such a list, or cannot be written.
    """
    head = ",".join(HEADS).encode()
    try:
        if target.exists() and target.read_bytes()[: len(head)] not in (b"", head):
            raise InputError(f"{target} holds something else and is left as it is; name another.")
        beside = target.with_name(f".{target.name}.part")
        with beside.open("w", encoding="utf-8", newline="") as stream:
            count = _write_rows(stream, journal_lines(journal))
            stream.flush()
            os.fsync(stream.fileno())
        beside.replace(target)
    except OSError as fault:
        raise InputError(f"{target} cannot be written: {fault.strerror}.") from None
    return count


def _write_rows(stream: TextIO, lines: Iterable[Line]) -> int:
    writer = csv.writer(stream)
    writer.writerow(HEADS)
    count = 0
    for line in lines:
        about = [line[name] for name in ("modality", "date", "station", "software", "sop")]
        for kind, reason in line["findings"]:
            writer.writerow(map(cell_text, [line["path"], kind, reason, *about]))
            count += 1
    return count
