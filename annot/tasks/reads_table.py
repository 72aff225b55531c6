"""Every reading that a study holds now, as a table; nothing stale ever leaves."""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, fields
from pathlib import Path
from typing import Any

from annot.errors import InputError
from annot.exports import COLUMNS, CSV, write_whole
from annot.exports.csv_file import csv_lines
from annot.measurement.measured_row import MeasuredRow
from annot.store import Query
from annot.tasks.counted import Count, counted, uncounted
from annot.tasks.reads_kept import (
    READING_KIND,
    REPEATS_KIND,
    KeptRead,
    KeptReading,
    Row,
    kept_reading,
    reads_of,
)
from annot.tasks.reads_study import Study

MORE_COLUMNS = ("presentation", "read_version", "reading_version", "signed_at")
_KNOWN = tuple(one.name for one in fields(MeasuredRow) if one.name != "line")


@dataclass(frozen=True, slots=True, kw_only=True)
class Standing:
    """What readings have to rest on to hold now.

    Attributes
    ----------
    reads : mapping of code to KeptRead
    repeats : mapping of reader to version
    defaults : str
        The study's hash of protocol and defaults.
    """

    reads: Mapping[str, KeptRead]
    repeats: Mapping[str, int]
    defaults: str

    def refuse_stale(self, one: KeptReading) -> None:
        """Raise InputError if a reading does not rest on what holds now."""
        read = self.reads.get(one.code)
        if read is None or not read.readable:
            why = f"the read {one.code} is not readable or not there"
        elif one.read_version != read.version:
            why = f"it rests on version {one.read_version} of a read that is at {read.version}"
        elif one.repeats_version != self.repeats.get(read.reader, 0):
            why = f"what reader {read.reader}'s repeats say has changed since"
        elif one.row["protocol_hash"] != self.defaults:
            why = "it was measured under another protocol or other defaults than the study's"
        else:
            return
        raise InputError(
            f"{one.key} is stale, so nothing is given out: {why}; `annot reads remeasure` works "
            "it out anew."
        )


def standing_of(study: Study) -> Standing:
    """Return what a study's readings have to rest on now."""
    query = Query(study=study.file.code, kind=REPEATS_KIND)
    return Standing(
        reads=reads_of(study),
        repeats={event.record.key: event.version for event in study.store.read(query)},
        defaults=study.file.protocol.protocol_hash,
    )


def rows_now(study: Study) -> Iterator[Row]:
    """Yield the row of every reading that holds, one by one.

    Raises
    ------
    InputError
        At the first reading that is stale or was altered.
    """
    standing = standing_of(study)
    for event in study.store.read(Query(study=study.file.code, kind=READING_KIND)):
        one = kept_reading(event)
        if one.withdrawn:
            continue
        standing.refuse_stale(one)
        yield {
            **one.row,
            "read_version": one.read_version,
            "reading_version": one.version,
            "signed_at": standing.reads[one.code].signed_at,
        }


def measured_row(row: Mapping[str, Any]) -> MeasuredRow:
    """Return a kept row as what later work leans on."""
    cells = {name: row.get(name) for name in _KNOWN}
    return MeasuredRow(**{name: cell for name, cell in cells.items() if cell is not None})


def export_readings(study: Study, path: Path, *, count: Count = uncounted) -> int:
    """Write all readings as a table, whole or not at all, and return how many there are.

    Parameters
    ----------
    study : Study
    path : Path
    count : callable
        Told now and then how many rows were written.

    Raises
    ------
    InputError
        If one is stale or altered, or the file cannot be written.
    """
    names = [*(column.name for column in COLUMNS), *MORE_COLUMNS]
    written = 0

    def passing() -> Iterator[Row]:
        nonlocal written
        for row in rows_now(study):
            written += 1
            yield row

    write_whole(path, csv_lines(counted(passing(), count), names), replaces=CSV)
    return written
