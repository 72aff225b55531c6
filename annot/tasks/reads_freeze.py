"""Close a study for good: the final table, its digest in the chain, an anchor to keep outside."""

import hashlib
from dataclasses import dataclass
from datetime import UTC, datetime
from importlib.metadata import version
from pathlib import Path
from typing import Any

from annot.errors import InputError
from annot.exports import CSV, write_whole
from annot.exports.csv_file import csv_lines
from annot.sizing.chart import SizeChart
from annot.store import FREEZE, Anchor, Intent, Query, Record
from annot.tasks.reads_final import FINAL_COLUMNS, Final, final_row, finals_of
from annot.tasks.reads_kept import reads_of
from annot.tasks.reads_study import Study


@dataclass(frozen=True, slots=True, kw_only=True)
class Freezing:
    """What is closed how.

    Attributes
    ----------
    table : Path
        Where the final table goes.
    by : str
    chart : SizeChart or None
    in_spite : str
        Why it is closed although something is open; empty where nothing may be.
    """

    table: Path
    by: str
    chart: SizeChart | None = None
    in_spite: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class Frozen:
    """What was closed: rows of the final table, its digest, and the chain's head as it closed."""

    rows: int
    digest: str
    anchor: Anchor
    left_open: tuple[str, ...]


def freeze(study: Study, freezing: Freezing) -> Frozen:
    """Close a study; on a closed one write the same table again, byte for byte.

    Raises
    ------
    InputError
        If the chain does not hold, a reading is stale, or something is open and no reason is given
        to close in spite of it; then nothing is written.
    """
    report = study.store.verify_chain(study.file.code)
    if not report.holds:
        raise InputError(f"{report.fault} Nothing is frozen.")
    finals = finals_of(study, freezing.chart)
    text = _table(study, finals)
    digest = hashlib.sha256(text.encode()).hexdigest()
    before: Any = next(
        (e.record.body for e in study.store.read(Query(study=study.file.code, kind=FREEZE))), None
    )
    if before is None:
        left = open_points(study, finals)
        _refuse_open(study, left, freezing.in_spite)
        body = {
            "table_sha256": digest,
            "rows": text.count("\r\n") - 1,
            "open": list(left),
            "in_spite": freezing.in_spite.strip(),
        }
        study.store.append(_intent(study, body, freezing.by))
    elif before["table_sha256"] != digest:
        raise InputError(
            f"Study {study.file.code} was frozen with another table: the chart or this program is "
            f"not the one of then (software {before.get('software', 'unknown')}); nothing is "
            "written."
        )
    else:
        left = tuple(before["open"])
    write_whole(freezing.table, text, replaces=CSV)
    kept = next(study.store.read(Query(study=study.file.code, kind=FREEZE)))
    anchor = Anchor(study=study.file.code, sequence=kept.sequence, digest=kept.digest)
    return Frozen(rows=text.count("\r\n") - 1, digest=digest, anchor=anchor, left_open=left)


def open_points(study: Study, finals: list[Final]) -> tuple[str, ...]:
    """Return what is not finished, in words."""
    collected = reads_of(study)
    owed = [one for one in study.presentations if one.code not in collected]
    readers = sorted({one.reader for one in owed})
    found = []
    if not study.presentations:
        found.append("nobody was assigned")
    if owed:
        found.append(
            f"{len(owed)} of {len(study.presentations)} showings were not collected (readers "
            f"{', '.join(readers)})"
        )
    found += [
        f"{one.case.key}: {one.case.why}, and no third reader's value" for one in finals if one.open
    ]
    return tuple(found)


def _refuse_open(study: Study, left: tuple[str, ...], in_spite: str) -> None:
    if left and not in_spite.strip():
        raise InputError(
            f"Study {study.file.code} is not finished: {'; '.join(left)}. Finish it, or say why it "
            "is frozen in spite of that (--in-spite)."
        )


def _table(study: Study, finals: list[Final]) -> str:
    common = {
        "protocol": study.file.protocol.label,
        "protocol_hash": study.file.protocol.protocol_hash,
        "software_version": version("annot"),
    }
    rows = [final_row(one, study, common) for one in finals if not one.open]
    return "".join(csv_lines(rows, FINAL_COLUMNS))


def _intent(study: Study, body: dict[str, Any], by: str) -> Intent:
    content = {**body, "software": version("annot")}
    return Intent(
        record=Record(study=study.file.code, kind=FREEZE, key=study.file.code, body=content),
        token=f"{FREEZE}:{study.file.code}",
        actor=by,
        at=datetime.now(UTC),
    )
