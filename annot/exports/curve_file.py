"""A tracked curve as CSV: a row a frame; UTF-8, RFC 4180.

What a frame shares with a measurement table is named, meant and computed as there.
"""

import csv
import io
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass

from annot.exports.csv_file import cell_text
from annot.exports.table import COLUMNS, Cell, TableEntry
from annot.measurement.tracked_curve import CurvePoint


@dataclass(frozen=True, slots=True, kw_only=True)
class CurveRow:
    """One frame with all that its cells need: the entry that a table would have of it, and more."""

    point: CurvePoint
    entry: TableEntry
    smoothed: float


@dataclass(frozen=True, slots=True, kw_only=True)
class CurveColumn:
    """A column's name, unit, meaning, and where its cell comes from."""

    name: str
    unit: str
    meaning: str
    cell: Callable[[CurveRow], Cell]


def _column(name: str, unit: str, meaning: str, cell: Callable[[CurveRow], Cell]) -> CurveColumn:
    return CurveColumn(name=name, unit=unit, meaning=meaning, cell=cell)


def _as_in_table(*names: str) -> tuple[CurveColumn, ...]:
    """Return columns of the measurement table by name."""
    known = {column.name: column for column in COLUMNS}

    def cell(name: str) -> Callable[[CurveRow], Cell]:
        return lambda row: known[name].cell(row.entry)

    return tuple(_column(name, known[name].unit, known[name].meaning, cell(name)) for name in names)


CURVE_COLUMNS: tuple[CurveColumn, ...] = (
    *_as_in_table("frame", "dicom_frame", "time_ms", "quantity", "value", "unit", "u"),
    *_as_in_table("low", "high", "coverage", "method"),
    _column(
        "smoothed", "unit", "mean of the curves that this one may have been", lambda r: r.smoothed
    ),
    _column(
        "correlation",
        "1",
        "of the worst end's surroundings with the frame before",
        lambda r: r.point.tracked.correlation,
    ),
    _column(
        "return_px",
        "px",
        "how far the worst end misses when carried back",
        lambda r: r.point.tracked.return_px,
    ),
    *_as_in_table("origin", "confirmed", "caliper_id", "sop_instance_uid", "study", "loop"),
    *_as_in_table("modality", "primary_deg", "secondary_deg", "view_deg", "reader"),
    *_as_in_table("mm_per_px_row", "mm_per_px_column", "scale_kind", "scale_id", "object_id"),
    *_as_in_table("system_id", "depth_group", "speed_group", "u_scale_rel"),
    *_as_in_table(*(column.name for column in COLUMNS if column.name.startswith("share_"))),
    *_as_in_table("conditions", "overruled", "warnings", "protocol", "protocol_hash"),
    *_as_in_table("software_version"),
)


def curve_rows(
    points: Sequence[CurvePoint], entries: Sequence[TableEntry], smoothed: Sequence[float]
) -> list[dict[str, Cell]]:
    """Return a row a frame, every column present.

    Parameters
    ----------
    points, entries, smoothed : sequences of one length
        Each frame's measurement as tracked, as a table would take it, and smoothed.
    """
    rows = [
        CurveRow(point=point, entry=entry, smoothed=smooth)
        for point, entry, smooth in zip(points, entries, smoothed, strict=True)
    ]
    return [{column.name: column.cell(row) for column in CURVE_COLUMNS} for row in rows]


def curve_csv(rows: Sequence[Mapping[str, Cell]]) -> str:
    """Return the rows as text with CRLF line ends."""
    stream = io.StringIO(newline="")
    writer = csv.writer(stream)
    writer.writerow([column.name for column in CURVE_COLUMNS])
    for row in rows:
        writer.writerow([cell_text(cell) for cell in row.values()])
    return stream.getvalue()


__all__ = ["CURVE_COLUMNS", "curve_csv", "curve_rows"]
