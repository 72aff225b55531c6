"""A quantity of a room over time: limits set once in phase I, later checks judged by them."""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date

from annot.errors import InputError
from annot.quality import (
    CHARTS,
    ControlChart,
    RecordedLimits,
    drifted_baseline,
    monitored,
    run_lengths_from_baseline,
    set_limits,
)
from annot.quality.judgement import CheckedValue
from annot.quality.run_length_from_baseline import ChartKind
from annot.tasks.check.register import Check, Register

GROUPED = frozenset({"mean", "spread"})
OF_READINGS = " (readings)"  # limits of groups are kept beside those of single values
THEORY: dict[str, ChartKind] = {"individuals": "rules", "weighted": "weighted", "sums": "sums"}


@dataclass(frozen=True, slots=True, kw_only=True)
class ChartName:
    """Which chart: a room, one of its quantities, and one of `annot.quality.CHARTS`."""

    room: str
    quantity: str
    kind: str = "individuals"

    def __post_init__(self) -> None:
        if self.kind not in CHARTS:
            raise InputError(f"There is no chart '{self.kind}': choose one of {', '.join(CHARTS)}.")

    @property
    def limits_key(self) -> str:
        """What its limits are kept under: those of groups beside those of single values."""
        return f"{self.quantity}{OF_READINGS}" if self.kind in GROUPED else self.quantity


@dataclass(frozen=True, slots=True, kw_only=True)
class Plotted:
    """One check as a point: its key and day, and the readings it stands for."""

    key: str
    day: date
    readings: tuple[float, ...]

    @property
    def value(self) -> float:
        """Mean of the readings."""
        return sum(self.readings) / len(self.readings)


@dataclass(frozen=True, slots=True, kw_only=True)
class RoomChart:
    """A chart of one quantity of a room.

    Attributes
    ----------
    name : ChartName
    unit : str
    limits : RecordedLimits or None
        As recorded; None in phase I, where `charts` show what limits would be set today.
    charts : tuple of ControlChart
        Of the points after the baseline; in phase I of all points.
    baseline, points : tuple of Plotted
    left_out : tuple of Plotted
    note : str
        What a reader must know: no limits yet, a baseline that was changed afterwards.
    run_lengths : mapping or None
        Checks until a chart speaks, in control and after a shift of one sigma, with a baseline of
        this length: median over all that chance may give, and what 10 and 90 % do not exceed.
    """

    name: ChartName
    unit: str
    limits: RecordedLimits | None
    charts: tuple[ControlChart, ...]
    baseline: tuple[Plotted, ...]
    points: tuple[Plotted, ...]
    left_out: tuple[Plotted, ...] = ()
    note: str = ""
    run_lengths: dict[str, dict[str, float]] | None = None

    def facts(self) -> list[dict[str, object]]:
        """Return each chart for machines; one without points where there is none yet."""
        about = {
            "room": self.name.room,
            "quantity": self.name.quantity,
            "unit": self.unit,
            "phase": "II" if self.limits else "I",
            "checks": [point.key for point in self.points],
            "days": [point.day.isoformat() for point in self.points],
            "baseline": [point.value for point in self.baseline],
            "left_out": [point.key for point in self.left_out],
            "run_lengths": self.run_lengths,
            "note": self.note,
        }
        empty = ControlChart(
            kind=self.name.kind,
            points=(),
            centre=self.limits.centre.centre if self.limits else math.nan,
            lower=(),
            upper=(),
            signals=(),
        )
        return [about | _chart_facts(one) for one in self.charts or (empty,)]


def _chart_facts(one: ControlChart) -> dict[str, object]:
    return {
        "chart": one.kind,
        "centre": one.centre if math.isfinite(one.centre) else None,
        "lower": list(one.lower),
        "upper": list(one.upper),
        "points": list(one.points),
        "signals": [{"rule": each.rule, "point": each.point} for each in one.signals],
    }


def quantities_of(checks: Sequence[Check]) -> dict[str, int]:
    """Return every quantity that was checked, with how often."""
    found: dict[str, int] = {}
    for check in checks:
        for value in check.as_found:
            found[value.key] = found.get(value.key, 0) + 1
    return found


def room_chart(register: Register, name: ChartName) -> RoomChart:
    """Chart one quantity of a room, as found in every check.

    Raises
    ------
    InputError
        If there is no such room, quantity or chart, or too few checks.
    """
    register.room(name.room)
    plotted, unit = _plotted(register.checks(name.room), name)
    limits = register.limits(name.room, name.limits_key)
    if limits is None:
        return _phase_one(name, unit, plotted)
    member, out = set(limits.members), set(limits.left_out)
    points = [one for one in plotted if one.key not in member | out]
    charts = monitored([one.readings for one in points], limits, chart=name.kind) if points else ()
    return RoomChart(
        name=name,
        unit=unit,
        limits=limits,
        charts=charts,
        baseline=tuple(one for one in plotted if one.key in member),
        points=tuple(points),
        left_out=tuple(one for one in plotted if one.key in out),
        note=drifted_baseline(limits, {one.key: one.readings for one in plotted})
        or ("" if points else "no check since the limits were set"),
        run_lengths=_run_lengths(name.kind, len(limits.members)),
    )


def record_baseline(
    register: Register,
    name: ChartName,
    *,
    left_out: Sequence[str] = (),
    by: str,
    reason: str = "",
) -> RecordedLimits:
    """Set and record limits from all checks so far: phase I ends here.

    Raises
    ------
    InputError
        If there are fewer than 8 checks, or limits are recorded already and no reason is given.
    """
    plotted, _ = _plotted(register.checks(name.room), name)
    limits = set_limits(
        [one.readings for one in plotted],
        members=[one.key for one in plotted],
        left_out=left_out,
    )
    register.record_limits(name.room, name.limits_key, limits, by=by, reason=reason)
    return limits


def _plotted(checks: Sequence[Check], name: ChartName) -> tuple[list[Plotted], str]:
    known = quantities_of(checks)
    if name.quantity not in known:
        there = "; ".join(known) or "none yet"
        raise InputError(f"Nothing was checked under '{name.quantity}'; there is: {there}.")
    found, unit = [], ""
    for check in checks:
        for value in check.as_found:
            if value.key == name.quantity:
                found.append(
                    Plotted(
                        key=check.key,
                        day=check.taken,
                        readings=_taken(value, grouped=name.kind in GROUPED),
                    )
                )
                unit = value.unit
    return found, unit


def _taken(value: CheckedValue, *, grouped: bool) -> tuple[float, ...]:
    if not grouped:
        return (value.value,)
    if len(value.readings) < 2:
        raise InputError(f"{value.key} has one reading a check: use the individuals chart.")
    return value.readings


def _phase_one(name: ChartName, unit: str, plotted: Sequence[Plotted]) -> RoomChart:
    groups, keys = [one.readings for one in plotted], [one.key for one in plotted]
    charts: tuple[ControlChart, ...] = ()
    note = "phase I: no limits are recorded; record them with --set-limits once the room is stable"
    try:
        trial = set_limits(groups, members=keys)
    except InputError as fault:
        note = f"{note}. {fault.message}"
    else:
        charts = monitored(groups, trial, chart=name.kind)
        note = f"{note}. The limits shown are those that these checks would give"
    return RoomChart(
        name=name,
        unit=unit,
        limits=None,
        charts=charts,
        baseline=(),
        points=tuple(plotted),
        note=note,
    )


def _run_lengths(kind: str, baseline: int) -> dict[str, dict[str, float]] | None:
    if kind not in THEORY:
        return None
    found = {}
    for words, shift in (("in_control", 0.0), ("shift_of_one_sigma", 1.0)):
        try:
            told = run_lengths_from_baseline(shift, baseline=baseline, chart=THEORY[kind])
        except InputError:
            return None
        found[words] = {"median": told.median, "low": told.low, "high": told.high}
    return found


def run_length_words(chart: RoomChart) -> str:
    """Return what to expect of a chart with limits from its baseline; empty if not known."""
    if chart.limits is None or chart.run_lengths is None:
        return ""
    alarm, drift = chart.run_lengths["in_control"], chart.run_lengths["shift_of_one_sigma"]
    return (
        f"Limits from {len(chart.limits.members)} checks: a false alarm about once in "
        f"{alarm['median']:.0f} checks ({alarm['low']:.0f} to {alarm['high']:.0f} in 8 of 10 "
        f"rooms), a shift of one sigma found after about {drift['median']:.0f} "
        f"({drift['low']:.0f} to {drift['high']:.0f})"
    )
