"""Gather what one page shows of a table: views, modalities, readers, chart rows, what tips it."""

from collections.abc import Iterable, Iterator, Sequence
from pathlib import Path

from annot.errors import InputError
from annot.exports import write_whole
from annot.exports.axis import Axis
from annot.exports.discussion_page import (
    HTML,
    WIDTH,
    Bar,
    ChangePart,
    ChartBar,
    QuantityPart,
    SizePart,
    StudyPart,
    discussion_html,
    quantity_part,
    title_of,
)
from annot.measurement.change import Change, changes_between
from annot.measurement.measured_row import MeasuredRow
from annot.sizing import SizeChart
from annot.tasks.section import load_rows, sections_of, side_by_side
from annot.tasks.sizes import SizeAnswer, answers_of, load_chart, shown_share
from annot.uncertainty import decimals_for

NO_TIP = "no single view left out and no error of one u moves the width to another row"
ZONE = "landing_zone_width"
LEAST_SHOWN, MOST_NAMED = 0.005, 6


def write_discussion(
    tables: Path | Sequence[Path],
    page: Path,
    *,
    chart: Path | None = None,
    basis: str = "largest",
    planning: Path | None = None,
) -> None:
    """Write tables as one page to discuss them by; it recommends nothing.

    Parameters
    ----------
    tables : Path or sequence of Path
        Measurement tables, for instance one a reader: what they hold of one study stands together.
    page : Path
        The HTML file to write.
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
    named = [tables] if isinstance(tables, Path) else list(dict.fromkeys(tables))
    rows = [row for table in named for row in load_rows(table)]
    if not rows:
        names = ", ".join(table.name for table in named)
        raise InputError(f"{names} holds no rows, so there is nothing to discuss.")
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
    parts = sorted(_quantities(rows), key=lambda one: not one.scaled)
    changes = changes_between(earlier, rows)
    axes = _axes_of_changes(changes)
    return StudyPart(
        study=study,
        quantities=tuple(parts),
        comparisons=tuple(_comparisons(rows)),
        sizes=tuple(_sizes(rows, chart, basis)),
        changes=tuple(_change(one, axes[one.difference.unit]) for one in changes),
        conditions=tuple(_gathered((row.conditions or "not stated", row.loop) for row in rows)),
        warnings=tuple(
            _gathered(
                (text, row.caliper_id) for row in rows for text in row.warnings.split("; ") if text
            )
        ),
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
        title = f"{title_of(one.name.quantity)}, {one.name.short}"
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
        width = answer.basis.width
        ends = (*chart.boundaries_mm, width.low, width.high)
        axis = Axis(low=min(ends), high=max(ends), wide_px=WIDTH)
        yield SizePart(
            title=answer.basis.section.name.short,
            width=(
                f"{title_of(ZONE)} by the {answer.basis.basis} diameter: {width.value:.1f} mm "
                f"({width.low:.1f} to {width.high:.1f})"
            ),
            rows=tuple(_chart_rows(answer, axis)),
            band=(axis.at(width.low), axis.at(width.value), axis.at(width.high)),
            ticks=axis.ticks(),
            tips=tuple(tip.words for tip in answer.tips if tip.tips) or (NO_TIP,),
        )


def _chart_rows(answer: SizeAnswer, axis: Axis) -> Iterator[ChartBar]:
    ranges = {row.label: row for row in answer.chart.rows}
    for one in answer.matches:
        if one.outside and one.probability < LEAST_SHOWN:
            continue
        found, row = one.compression_percent, ranges.get(one.label)
        yield ChartBar(
            label=one.label,
            low=None if row is None else axis.at(row.width_from_mm),
            high=None if row is None else axis.at(row.width_to_mm),
            probability=shown_share(one.probability),
            compression="–"
            if found is None
            else f"{found.value:.1f} ({found.low:.1f} to {found.high:.1f})",
        )


def _axes_of_changes(changes: Sequence[Change]) -> dict[str, Axis]:
    """Return for each unit an axis that holds all its intervals, no change in the middle."""
    reach: dict[str, float] = {}
    for one in changes:
        found = one.difference
        reach[found.unit] = max(reach.get(found.unit, 0.0), abs(found.low), abs(found.high))
    return {unit: Axis(low=-far, high=far, wide_px=WIDTH) for unit, far in reach.items()}


def _change(one: Change, axis: Axis) -> ChangePart:
    found = one.difference
    places = decimals_for(found.u)
    return ChangePart(
        quantity=title_of(one.quantity),
        view=one.where,
        number=(
            f"{found.value:+.{places}f} {found.unit} "
            f"({found.low:+.{places}f} to {found.high:+.{places}f})"
        ),
        bar=Bar(
            low=axis.at(found.low),
            value=axis.at(found.value),
            high=axis.at(found.high),
            open_end=one.view.startswith("echo"),
        ),
        ticks=axis.ticks(),
        notes="; ".join(one.warnings),
    )


def _gathered(pairs: Iterable[tuple[str, str]]) -> Iterator[tuple[str, str]]:
    """Yield each text once, with all whom it is for; beyond a few, their number."""
    whom: dict[str, list[str]] = {}
    for text, who in pairs:
        whom.setdefault(text, []).append(who)
    for text, all_of in whom.items():
        names = list(dict.fromkeys(one for one in all_of if one))
        few, more = names[:MOST_NAMED], len(names) - MOST_NAMED
        yield text, ", ".join(few) + (f" and {more} more" if more > 0 else "")
