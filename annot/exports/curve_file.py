"""A tracked curve as CSV: a row a frame; UTF-8, RFC 4180."""

import csv
import io
from collections.abc import Callable, Sequence
from dataclasses import dataclass

from annot.exports.csv_file import cell_text
from annot.exports.table import Cell
from annot.measurement.curve_summary import CurveSummary
from annot.measurement.tracked_curve import CurvePoint


@dataclass(frozen=True, slots=True, kw_only=True)
class CurveRow:
    """One frame with all that its cells need."""

    point: CurvePoint
    time_ms: float
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


CURVE_COLUMNS: tuple[CurveColumn, ...] = (
    _column("frame", "", "frame from 0", lambda r: r.point.frame),
    _column("dicom_frame", "", "frame from 1, as DICOM counts", lambda r: r.point.frame + 1),
    _column("time_ms", "ms", "time of the frame from the first one", lambda r: r.time_ms),
    _column("quantity", "", "what is measured", lambda r: r.point.measurement.outcome.name),
    _column("value", "unit", "best estimate", lambda r: r.point.measurement.estimate.value),
    _column("unit", "", "mm, or px without a scale", lambda r: r.point.measurement.result.unit),
    _column("u", "unit", "standard uncertainty", lambda r: r.point.measurement.estimate.u),
    _column("low", "unit", "lower end of the interval", lambda r: r.point.measurement.interval.low),
    _column(
        "high", "unit", "upper end of the interval", lambda r: r.point.measurement.interval.high
    ),
    _column("smoothed", "unit", "local parabola through its neighbours", lambda r: r.smoothed),
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
    _column(
        "origin", "", "drawn, refined or tracked", lambda r: r.point.measurement.caliper.origin
    ),
    _column(
        "confirmed",
        "",
        "a person stands behind it",
        lambda r: r.point.measurement.caliper.confirmed,
    ),
    _column(
        "caliper_id", "", "the caliper in the read file", lambda r: r.point.measurement.caliper.key
    ),
    _column(
        "sop_instance_uid",
        "",
        "the stored object's own identity",
        lambda r: r.point.measurement.caliper.frame.sop_instance_uid,
    ),
)


def curve_rows(
    points: Sequence[CurvePoint], times_ms: Sequence[float], summary: CurveSummary
) -> list[dict[str, Cell]]:
    """Return a row a frame, every column present."""
    rows = [
        CurveRow(point=point, time_ms=time, smoothed=smooth)
        for point, time, smooth in zip(points, times_ms, summary.smoothed, strict=True)
    ]
    return [{column.name: column.cell(row) for column in CURVE_COLUMNS} for row in rows]


def curve_csv(
    points: Sequence[CurvePoint], times_ms: Sequence[float], summary: CurveSummary
) -> str:
    """Return the curve as text with CRLF line ends."""
    stream = io.StringIO(newline="")
    writer = csv.writer(stream)
    writer.writerow([column.name for column in CURVE_COLUMNS])
    for row in curve_rows(points, times_ms, summary):
        writer.writerow([cell_text(cell) for cell in row.values()])
    return stream.getvalue()


__all__ = ["CURVE_COLUMNS", "curve_csv", "curve_rows"]
