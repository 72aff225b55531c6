"""What follows from a read as it stands: rows, cross-sections, chart rows, what is still owed."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

from annot.calibration import LoopScale
from annot.errors import InputError
from annot.exports import TableEntry, csv_text, rows_of
from annot.exports.table_file import parse_table
from annot.loops import Loop
from annot.measurement.measured_row import MeasuredRow
from annot.reads import Read
from annot.sizing import SizeChart
from annot.tasks.handover import HandOver, hand_over
from annot.tasks.measure import Beams, Measure, entries_of, measure_live
from annot.tasks.read import rules_of
from annot.tasks.section import WIDTHS, CrossSection, SideBySide, sections_of, side_by_side
from annot.tasks.sizes import SizeAnswer, answers_of

NOT_STATED, THIS_READ = "not stated", "this read"
SIZED = "landing_zone_width"
# a protocol's word for the diameter, and the chart's
BASIS = {"largest": "largest", "area_diameter": "area", "perimeter_diameter": "perimeter"}


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Findings:
    """Everything that follows from one read.

    Attributes
    ----------
    read : Read
        The read that it follows from.
    entries : tuple of TableEntry
        As the table has them.
    rows : tuple of MeasuredRow
        The same as they are read back from the table.
    sections : tuple of CrossSection
    compared : tuple of SideBySide
    sizes : tuple of SizeAnswer
        Empty without a chart, or where nothing can be set against it.
    hand_over : HandOver
    why_no_sizes : str
        What stands against sizes where a chart was named; empty otherwise.
    """

    read: Read
    entries: tuple[TableEntry, ...]
    rows: tuple[MeasuredRow, ...]
    sections: tuple[CrossSection, ...]
    compared: tuple[SideBySide, ...]
    sizes: tuple[SizeAnswer, ...]
    hand_over: HandOver
    why_no_sizes: str = ""


def findings_of(
    read: Read,
    loops: Mapping[str, Loop],
    scales: Mapping[str, LoopScale],
    *,
    beams: Beams,
    chart: SizeChart | None = None,
    measure: Measure = measure_live,
) -> Findings:
    """Work out everything that follows from a read whose loops are open and scales are made.

    The rows go through the table's text, so that cross-sections and chart rows are the very ones
    that the exported table gives.

    Parameters
    ----------
    read : Read
        Loops named as the keys of `loops` and `scales`.
    chart : SizeChart, optional
        The user's own.
    measure : callable
        As `measure_live`; whoever keeps answers hands in its own.

    Raises
    ------
    AnnotError
        If a caliper lies where its loop has no frame or no picture.
    """
    named = replace(
        read, reader=read.reader or NOT_STATED, study=read.study or THIS_READ
    )  # a table names both, and a read that is still being drawn may not yet
    entries = tuple(entries_of(named, loops, scales, beams=beams, measure=measure))
    rows = tuple(parse_table(csv_text(rows_of(entries)), name="table")) if entries else ()
    sections = sections_of(rows) if any(_is_width(row) for row in rows) else []
    sizes, why = _sizes(rows, chart, rules_of(read).size_by)
    return Findings(
        read=read,
        entries=entries,
        rows=rows,
        sections=tuple(sections),
        compared=tuple(side_by_side(rows, sections)),
        sizes=sizes,
        hand_over=hand_over(read, entries),
        why_no_sizes=why,
    )


def _is_width(row: MeasuredRow) -> bool:
    return row.quantity in WIDTHS and row.unit == "mm"


def _sizes(
    rows: Sequence[MeasuredRow], chart: SizeChart | None, size_by: str
) -> tuple[tuple[SizeAnswer, ...], str]:
    """Return the answers of the chart, or the sentence that says why there are none."""
    if chart is None:
        return (), ""
    if not any(_is_width(row) for row in rows):
        return (), "No width in mm yet to set against the chart."
    try:
        return tuple(answers_of(rows, chart, basis=BASIS[size_by], quantity=SIZED)), ""
    except InputError as fault:
        return (), fault.message
