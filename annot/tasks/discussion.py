"""Gather what one page shows of a table: views, modalities, readers, chart rows, what tips it."""

from collections.abc import Iterator, Sequence
from pathlib import Path

from annot.errors import InputError
from annot.exports import write_whole
from annot.exports.discussion_page import (
    HTML,
    QuantityPart,
    SizePart,
    StudyPart,
    discussion_html,
    quantity_part,
)
from annot.measurement.change import Change, changes_between
from annot.measurement.measured_row import MeasuredRow
from annot.sizing import SizeChart
from annot.tasks.section import load_rows, sections_of, side_by_side
from annot.tasks.sizes import SizeAnswer, answers_of, load_chart, shown_share

NO_TIP = "no single view left out and no error of one u moves the width to another row"
ZONE = "landing_zone_width"


def write_discussion(
    table: Path,
    page: Path,
    *,
    chart: Path | None = None,
    basis: str = "largest",
    planning: Path | None = None,
) -> None:
    """Write a table as a page to discuss it by; it recommends nothing.

    Parameters
    ----------
    table, page : Path
        The measurement table, and the HTML file to write.
    chart : Path, optional
        The user's own size chart.
    basis : {"largest", "area", "perimeter"}
        Which diameter the chart means by width.
    planning : Path, optional
        An earlier table of the same study, to show what changed.

    Raises
    ------
    InputError
        If a file is at fault or the page cannot be written; nothing is written half.
    """
    rows = load_rows(table)
    if not rows:
        raise InputError(f"{table.name} holds no rows, so there is nothing to discuss.")
    known = None if chart is None else load_chart(chart)
    earlier = [] if planning is None else load_rows(planning)
    studies = [
        _study(
            study,
            [row for row in rows if row.study == study],
            [row for row in earlier if row.study == study],
            chart=known,
            basis=basis,
        )
        for study in dict.fromkeys(row.study for row in rows)
    ]
    write_whole(page, discussion_html(studies), replaces=HTML)


def _study(
    study: str,
    rows: Sequence[MeasuredRow],
    earlier: Sequence[MeasuredRow],
    *,
    chart: SizeChart | None,
    basis: str,
) -> StudyPart:
    return StudyPart(
        study=study,
        quantities=tuple(_quantities(rows)),
        comparisons=tuple(_comparisons(rows)),
        sizes=tuple(_sizes(rows, chart, basis)),
        changes=tuple(_change_words(one) for one in changes_between(earlier, rows)),
        conditions=tuple(dict.fromkeys(f"{row.loop}: {row.conditions}" for row in rows)),
        warnings=tuple(_warnings(rows)),
    )


def _quantities(rows: Sequence[MeasuredRow]) -> Iterator[QuantityPart]:
    for quantity, unit in dict.fromkeys((row.quantity, row.unit) for row in rows):
        own = [row for row in rows if (row.quantity, row.unit) == (quantity, unit)]
        yield quantity_part(quantity, own)


def _comparisons(rows: Sequence[MeasuredRow]) -> Iterator[str]:
    if not any(row.quantity in ("ostium_width", ZONE) and row.unit == "mm" for row in rows):
        return
    sections = sections_of(rows)
    for one in sections:
        largest = one.estimates.get("largest")
        title = f"{one.name.quantity.replace('_', ' ')}, {one.name.short}"
        if largest is not None:
            yield (
                f"{title}: largest diameter of the ellipse through the views "
                f"{largest.value:.1f} mm ({largest.low:.1f} to {largest.high:.1f})"
            )
        yield from (f"{title}: {view.words}" for view in one.without_view)
        yield from (f"{title}: {text}" for text in one.warnings)
    for compared in side_by_side(rows, sections):
        yield from (one.words for one in compared.differences)


def _sizes(rows: Sequence[MeasuredRow], chart: SizeChart | None, basis: str) -> Iterator[SizePart]:
    if chart is None:
        return
    if not any(row.quantity == ZONE and row.unit == "mm" for row in rows):
        return
    for answer in answers_of(rows, chart, basis=basis):
        yield SizePart(
            title=answer.basis.section.name.short,
            rows=tuple(_size_rows(answer)),
            tips=tuple(tip.words for tip in answer.tips if tip.tips) or (NO_TIP,),
        )


def _size_rows(answer: SizeAnswer) -> Iterator[tuple[str, str, str]]:
    for one in answer.matches:
        if one.outside and one.probability < 0.005:
            continue
        found = one.compression_percent
        shown = "–" if found is None else f"{found.value:.1f} ({found.low:.1f} to {found.high:.1f})"
        yield one.label, shown_share(one.probability), shown


def _change_words(one: Change) -> str:
    found = one.difference
    notes = f" ({'; '.join(one.warnings)})" if one.warnings else ""
    return (
        f"{one.quantity.replace('_', ' ')}, {one.view}: {found.value:+.2f} {found.unit} "
        f"({found.low:+.2f} to {found.high:+.2f}){notes}"
    )


def _warnings(rows: Sequence[MeasuredRow]) -> Iterator[str]:
    """Yield each warning once, behind the calipers it is for."""
    calipers: dict[str, list[str]] = {}
    for row in rows:
        for text in filter(None, row.warnings.split("; ")):
            calipers.setdefault(text, []).append(row.caliper_id)
    return (f"{', '.join(dict.fromkeys(keys))}: {text}" for text, keys in calipers.items())
