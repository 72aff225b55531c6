"""The sheet worked out from what lies on the desk: a pure function, no Qt."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

from annot.calibration import NoScale, ObjectRequest
from annot.measurement import Caliper
from annot.reads import LoopRead
from annot.tasks.findings import Findings
from annot.tasks.handover import scale_doubts
from annot.tasks.measure import Measurement
from annot.tasks.read import rules_of
from annot.vocabulary import MEASURANDS
from annot.vocabulary.landmarks import QUANTITIES
from annot.vocabulary.measurands import Measurand
from annot.vocabulary.protocol import Protocol, QuantityRule
from napari_annot.answers import Answer
from napari_annot.screen_state import Facts
from napari_annot.sheet_columns import SheetView, absent_views, column_of, views_at_hand, wants
from napari_annot.sheet_state import Cell, Mark, Shares, SheetRow, SheetState
from napari_annot.tools import CALIPER_TOOLS, COLOURS, YELLOW, trace_of
from napari_annot.wording import UNIT_SIGNS

WARNING = "⚠"
NO_SCALE, DOUBTFUL, STALE, FITTING, UNSURE = (
    "no scale",
    "doubtful",
    "stale",
    "fitting …",
    "to confirm",
)
READ = "✓ read"  # in place of a value that the reader is not to see
TRACED_ANEW = "the reference object was traced anew: make the scale again"
COMPONENT_WORDS = {
    "scale": "reading the scale",
    "object": "the object's size",
    "system": "the imaging system",
    "ends": "placing the ends",
    "depth": "unknown depth",
    "tilt": "unknown tilt",
    "other": "the rest",
}
UNITS = {"length": "mm", "angle": "°", "contour": "mm²"}


@dataclass(frozen=True, slots=True, kw_only=True)
class _Stands:
    """A caliper with its first number, where it stands."""

    part: LoopRead
    caliper: Caliper
    answer: Answer


def sheet_of(facts: Facts, findings: Findings | None = None) -> SheetState:
    """Return the sheet.

    Parameters
    ----------
    facts : Facts
    findings : Findings, optional
        What follows from the read, or from the one before it: what is stale is taken from there
        for calipers that are still the same.
    """
    rules = rules_of(facts.read)
    at_hand = views_at_hand(facts, rules)
    stale = _stale(facts, findings)
    rows = tuple(
        _row(quantity, at_hand, rules, facts, stale) for quantity in _quantities(facts, rules)
    )
    owed = [one for row in rows if row.required for cell in row.cells for one in cell.marks]
    sheet = SheetState(
        protocol=rules.label,
        columns=tuple(column_of(one, facts) for one in at_hand),
        rows=rows,
        absent=absent_views(at_hand, rules),
        owed=sum(not one.read for one in owed),
    )
    return replace(sheet, offered=_offered(sheet))


def _quantities(facts: Facts, rules: Protocol) -> list[str]:
    """Return what the protocol asks for, then what is measured beyond it."""
    measured = (one.measurand.name for loop in facts.read.loops for one in loop.calipers)
    return list(dict.fromkeys([*(one.quantity for one in rules.quantities), *measured]))


def _row(
    quantity: str,
    at_hand: Sequence[SheetView],
    rules: Protocol,
    facts: Facts,
    stale: Mapping[str, str],
) -> SheetRow:
    rule = rules.rules().get(quantity)
    measurand = QUANTITIES[quantity]
    place = next((at for at, one in enumerate(CALIPER_TOOLS, 1) if one.name == quantity), 0)
    return SheetRow(
        quantity=quantity,
        title=measurand.title,
        unit=UNITS.get(measurand.kind, ""),
        colour=COLOURS.get(quantity, YELLOW),
        meaning=rule.definition if rule else measurand.meaning,
        key_words=f"Ctrl+{place}" if 0 < place < 10 else "",
        cells=tuple(
            _cell(measurand, rule, (at, view), facts, stale) for at, view in enumerate(at_hand)
        ),
        required=rule is not None and rule.required,
    )


def _cell(
    measurand: Measurand,
    rule: QuantityRule | None,
    place: tuple[int, SheetView],
    facts: Facts,
    stale: Mapping[str, str],
) -> Cell:
    at, view = place
    stands = _standing_in(measurand.name, view, facts)
    wanted = rule is not None and wants(rule, view, facts)
    repeats = rule.repeats if rule is not None and wanted else 0
    marks = _marks(stands, repeats)
    empty = Cell(
        quantity=measurand.name,
        view=at,
        title=measurand.title,
        marks=marks,
        wanted=wanted,
        drawable=measurand.name in MEASURANDS,
    )
    shown = _shown(stands, marks, facts.selected)
    return empty if shown is None else _filled(empty, shown, facts, stale)


def _standing_in(quantity: str, view: SheetView, facts: Facts) -> list[_Stands]:
    """Return a view's calipers of a quantity; those that were carried only stand for a frame.

    Those of the loop on show come last, for the last one is what a cell shows.
    """
    return [
        _Stands(part=part, caliper=caliper, answer=facts.measured[caliper.key][0])
        for part in sorted(view.parts, key=lambda one: one.file == facts.shown)
        for caliper in (*part.calipers, *facts.derived.get(part.file, ()))
        if caliper.measurand.name == quantity and caliper.origin != "tracked"
    ]


def _marks(stands: Sequence[_Stands], repeats: int) -> tuple[Mark, ...]:
    read = {one.caliper.repeat: one.caliper.key for one in stands}
    numbers = range(1, max([repeats, *read]) + 1)
    return tuple(Mark(repeat=number, key=read.get(number, "")) for number in numbers)


def _shown(
    stands: Sequence[_Stands], marks: Sequence[Mark], selected: str | None
) -> _Stands | None:
    """Return the selected caliper where it stands here, else the latest reading."""
    keys = [selected, *(one.key for one in reversed(marks) if one.read)]
    by_key = {one.caliper.key: one for one in stands}
    return next((by_key[key] for key in keys if key in by_key), None)


def _filled(empty: Cell, shown: _Stands, facts: Facts, stale: Mapping[str, str]) -> Cell:
    answer = shown.answer
    unit = answer.unit
    word, why = _amiss(shown, facts, stale)
    stands = replace(
        empty,
        key=shown.caliper.key,
        sign="…" if word == FITTING else WARNING if word else "",
        word=word,
    )
    if not facts.seat.visible.millimetres:
        return replace(stands, value=READ)
    return replace(
        stands,
        value=answer.value.removesuffix(unit).strip(),
        interval=answer.interval,
        unit=UNIT_SIGNS.get(unit, unit),
        shares=_shares(answer.measurement),
        provisional=answer.provisional,
        why=facts.seat.visible.remarks(dict.fromkeys((*why, *answer.warnings))),
    )


def _shares(measurement: Measurement) -> Shares:
    """Return what the variance is made of, the largest first; parts below 0.5 % are left out."""
    parts = measurement.result.shares()
    named: dict[str, float] = {}
    for name, share in parts.items():
        known = name if name in COMPONENT_WORDS else "other"
        named[known] = named.get(known, 0.0) + share
    ordered = sorted(named.items(), key=lambda one: -one[1])
    return tuple((name, share) for name, share in ordered if share >= 0.005)


def _amiss(shown: _Stands, facts: Facts, stale: Mapping[str, str]) -> tuple[str, tuple[str, ...]]:
    """Return what is amiss with a cell as a word, and the same in full; the worst comes first."""
    scale = shown.answer.measurement.scale
    fitting = facts.standings[shown.part.file].state == "fitting"
    doubts = facts.seat.visible.remarks(scale_doubts(scale))
    faults = (
        (fitting, FITTING, ("the scale is being fitted",)),
        (isinstance(scale, NoScale), NO_SCALE, doubts),
        (_traced_anew(shown.part, facts), STALE, (TRACED_ANEW,)),
        (shown.caliper.key in stale, STALE, (stale.get(shown.caliper.key, ""),)),
        (bool(doubts), DOUBTFUL, doubts),
        (not shown.caliper.confirmed, UNSURE, ("nobody has confirmed it yet",)),
    )
    return next(((word, why) for holds, word, why in faults if holds), ("", ()))


def _traced_anew(part: LoopRead, facts: Facts) -> bool:
    """Whether the trace on the picture is not the one that the scale was made from."""
    trace = facts.traces.get(part.file)
    made_from = part.scale
    if trace is None or not isinstance(made_from, ObjectRequest):
        return False
    return trace.kind == made_from.kind and trace.readings() != trace_of(made_from).readings()


def _stale(facts: Facts, findings: Findings | None) -> dict[str, str]:
    """Return why calipers are stale, of those that are still as they were."""
    if findings is None:
        return {}
    now = {one.key: one for loop in facts.read.loops for one in loop.calipers}
    then = {one.key: one for loop in findings.read.loops for one in loop.calipers}
    return {key: why for key, why in findings.hand_over.stale if now.get(key) == then.get(key)}


def _offered(sheet: SheetState) -> tuple[int, int] | None:
    """Return the cell to be read next: all first readings before any second one.

    A view's quantities come together, the view on show first, so that loops change seldom.
    """
    columns = sorted(range(len(sheet.columns)), key=lambda at: not sheet.columns[at].here)
    owed = [
        (cell.owed, order, row)
        for order, column in enumerate(columns)
        for row, line in enumerate(sheet.rows)
        for cell in (line.cells[column],)
        if line.required and cell.wanted and cell.drawable and cell.owed is not None
    ]
    if not owed:
        return None
    _, order, row = min(owed)
    return row, columns[order]
