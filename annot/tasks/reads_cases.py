"""What two readers both measured, and whether they are further apart than the protocol allows."""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, replace
from itertools import combinations
from typing import Any

import numpy as np

from annot.errors import InputError
from annot.measurement.measured_row import MeasuredRow
from annot.measurement.section_views import SeenLength, mean_length, seen_length
from annot.sizing.chart import SizeChart
from annot.sizing.match import region_of
from annot.store import Event, Query
from annot.tasks.reads_study import Study
from annot.tasks.reads_table import measured_row, rows_now
from annot.vocabulary.protocol import Adjudication, moment_key

ADJUDICATION_KIND = "adjudication"
SIZED = "landing_zone_width"


@dataclass(frozen=True, slots=True, kw_only=True)
class Side:
    """One reader's value of a case: the mean of the repeats of the first showing.

    Attributes
    ----------
    reader, code : str
    rows : tuple of MeasuredRow
    seen : SeenLength
        With the errors that other readers share.
    """

    reader: str
    code: str
    rows: tuple[MeasuredRow, ...]
    seen: SeenLength


@dataclass(frozen=True, slots=True, kw_only=True)
class Case:
    """One quantity at one moment of one loop, with everybody who measured it.

    Attributes
    ----------
    label, loop : str
        The loop's name in the study, and its fingerprint.
    quantity, moment, unit : str
    sides : tuple of Side
        Of the readers it was assigned to at first, in the order of their names.
    third : Side or None
        Of the reader who was asked because they were too far apart.
    why : str
        Why they are; empty where they are not.
    """

    label: str
    loop: str
    quantity: str
    moment: str
    unit: str
    sides: tuple[Side, ...]
    third: Side | None = None
    why: str = ""

    @property
    def key(self) -> str:
        """Its name in the store."""
        return "/".join((self.label, self.quantity, *([self.moment] if self.moment else [])))


def cases_of(study: Study, chart: SizeChart | None = None) -> list[Case]:
    """Return every case of a study, each with its verdict.

    A reader's hidden repeats tell of the reader, not of the case, so they are left out.

    Raises
    ------
    InputError
        If the protocol looks at size rows and there is no chart, or a reading is stale.
    """
    limits = study.protocol.adjudication
    if limits.another_size_row and chart is None:
        raise InputError(
            f"The protocol {study.protocol.label} sends different size rows to a third reader: "
            "give the chart (--chart)."
        )
    told = adjudications(study)
    ever, asked = codes_asked(adjudications(study, history=True)), codes_asked(told)
    own = {event.record.key: codes_asked([event]) for event in told}
    first = {one.code: one for one in study.presentations if one.repeat_of is None}
    groups: dict[tuple[str, str, str, str], dict[str, list[MeasuredRow]]] = {}
    for row in rows_now(study):
        shown = first.get(row["presentation"])
        if shown is not None:
            place = (shown.loop, row["quantity"], moment_key(row["moment"]), row["unit"])
            groups.setdefault(place, {}).setdefault(shown.code, []).append(measured_row(row))
    found = []
    for (loop, quantity, moment, unit), rows in groups.items():
        sides = {code: _side(code, parts) for code, parts in rows.items()}
        case = Case(
            label=study.loop(loop).label,
            loop=loop,
            quantity=quantity,
            moment=moment,
            unit=unit,
            sides=tuple(
                sorted((s for c, s in sides.items() if c not in ever), key=lambda s: s.reader)
            ),
        )
        third = _third(sides, own.get(case.key, asked))
        found.append(replace(case, third=third, why=_why(case, limits, chart)))
    return sorted(found, key=lambda one: one.key)


def _third(sides: Mapping[str, Side], asked: set[str]) -> Side | None:
    """Return the value of the reader who was asked about the case.

    Where nobody was, `asked` holds those who were asked about another quantity of the loop: they
    have seen it as freshly.
    """
    return next((side for code, side in sides.items() if code in asked), None)


def adjudications(study: Study, *, history: bool = False) -> list[Event]:
    """Return what was sent to third readers; with `history` what was superseded too."""
    query = Query(study=study.file.code, kind=ADJUDICATION_KIND, history=history)
    return list(study.store.read(query))


def codes_asked(asked: Iterable[Event]) -> set[str]:
    """Return the showings by which third readers were asked."""
    bodies: list[Any] = [one.record.body for one in asked]
    return {str(body["code"]) for body in bodies}


def _side(code: str, rows: Iterable[MeasuredRow]) -> Side:
    parts = tuple(rows)
    lengths = [seen_length(row) for row in parts]
    values = [one.value for one in lengths]
    scatter = float(np.std(values, ddof=1)) if len(values) > 1 else 0.0
    return Side(
        reader=parts[0].reader,
        code=code,
        rows=parts,
        seen=mean_length(lengths, pooled_sd=scatter),
    )


def _why(case: Case, limits: Adjudication, chart: SizeChart | None) -> str:
    """Return why two readers are too far apart, for the pair that is furthest."""
    pairs = sorted(
        combinations(case.sides, 2), key=lambda two: -abs(two[0].seen.value - two[1].seen.value)
    )
    for one, other in pairs:
        words = _apart(case, (one.seen.value, other.seen.value), limits)
        if not words and limits.another_size_row and chart is not None:
            words = _rows_apart(case, (one.seen.value, other.seen.value), chart)
        if words:
            return f"{one.reader} and {other.reader} {words}"
    return ""


def too_far(case: Case, values: tuple[float, float], limits: Adjudication) -> bool:
    """Whether two values of a case are further apart than the protocol allows."""
    if case.unit != "mm":
        # a limit in mm says nothing of degrees or areas; one in percent does
        limits = replace(limits, apart_mm=None, limits="either")
    return limits.asks_for_a_third(*values)


def _apart(case: Case, values: tuple[float, float], limits: Adjudication) -> str:
    if not too_far(case, values, limits):
        return ""
    apart, both = abs(values[0] - values[1]), abs(values[0] + values[1])
    # of two that lie as far on either side of zero there is no share
    share = f" ({200 * apart / both:.0f} %)" if both else ""
    return f"are {apart:.2f} {case.unit}{share} apart"


def _rows_apart(case: Case, values: tuple[float, float], chart: SizeChart) -> str:
    """Compare size rows by this one view's width, which need not be the cross-section's row."""
    if case.quantity != SIZED or case.unit != "mm":
        return ""
    rows = [region_of(chart, value) for value in values]
    return "" if rows[0] == rows[1] else f"lie in different size rows ({rows[0]}; {rows[1]})"


def unpaired(cases: Iterable[Case]) -> list[Case]:
    """Return cases that only one reader measured, so that nothing can be compared."""
    return [one for one in cases if len(one.sides) < 2]
