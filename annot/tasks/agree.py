"""Two readers, two readings or two modalities of one table: how far apart, how repeatable."""

import itertools
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Literal

import numpy as np

from annot.agreement import (
    FORMS,
    MULTIPLIER,
    Concordance,
    IntraclassForm,
    LimitsOfAgreement,
    Repeatability,
    Statistic,
    concordance,
    intraclass_correlations,
    limits_of_agreement,
    limits_with_replicates,
    repeatability,
)
from annot.errors import InputError
from annot.measurement.measured_row import MeasuredRow
from annot.vocabulary.protocol import moment_key

By = Literal["reader", "repeat", "modality"]
BY: tuple[By, ...] = ("reader", "repeat", "modality")
Case = tuple[str, ...]
Readings = Mapping[str, Mapping[Case, list[float]]]
FEWEST = 4


@dataclass(frozen=True, slots=True, kw_only=True)
class Agreement:
    """How one side agrees with another on one quantity; differences are first − second.

    Attributes
    ----------
    first, second : str
        The two readers (modalities, or readings of one reader).
    cases : int
        Cases that both sides have.
    left_out : int
        Cases that only one side has.
    limits : LimitsOfAgreement
        For single readings, replicates used where there are any.
    within : mapping of side to Repeatability
        Of sides that read cases more than once.
    intraclass : mapping of form to Statistic
        Of both sides' case means.
    concordance : Concordance
    pairs : tuple of (float, float)
        Both sides' case means, for pictures.
    """

    quantity: str
    unit: str
    by: By
    first: str
    second: str
    cases: int
    left_out: int
    limits: LimitsOfAgreement
    within: Mapping[str, Repeatability]
    intraclass: Mapping[IntraclassForm, Statistic]
    concordance: Concordance
    pairs: tuple[tuple[float, float], ...]
    warnings: tuple[str, ...] = ()

    def facts(self) -> dict[str, object]:
        """Return it as plain values for machines."""
        unit, limits = self.unit, self.limits
        return {
            "quantity": self.quantity,
            "unit": unit,
            "by": self.by,
            "first": self.first,
            "second": self.second,
            "n": self.cases,
            "left_out": self.left_out,
            "bias": _facts(limits.bias, unit),
            "sd": limits.sd,
            "limits_low": _facts(limits.lower, unit),
            "limits_high": _facts(limits.upper, unit),
            "multiplier": limits.multiplier,
            "within_subject_sd": {
                side: _facts(one.within_sd, unit) for side, one in self.within.items()
            },
            "repeatability_coefficient": {
                side: _facts(one.coefficient, unit) for side, one in self.within.items()
            },
            "icc": {form: _facts(self.intraclass[form], "1") for form in FORMS},
            "concordance": _facts(self.concordance.coefficient, "1"),
            "warnings": list(self.warnings),
        }


def _facts(one: Statistic, unit: str) -> dict[str, object]:
    # a correlation of means that cannot be told is −∞, which JSON does not hold
    numbers = {"value": one.value, "u": one.u, "low": one.low, "high": one.high}
    return {key: x if np.isfinite(x) else None for key, x in numbers.items()} | {"unit": unit}


def agreements_of(
    rows: Sequence[MeasuredRow], *, by: str = "reader", quantity: str | None = None
) -> tuple[Agreement, ...]:
    """Return the agreement of every two sides on every quantity that both read often enough.

    A case is one quantity of one study in one loop, view and moment; between modalities, where
    loops differ, of one study, reader and moment.

    Raises
    ------
    InputError
        If `by` or the quantity is not known, or no two sides share four cases.
    """
    if by not in BY:
        raise InputError(f"Agreement is by {', '.join(BY)}, not by '{by}'.")
    named = [one for one in rows if quantity is None or one.quantity == quantity]
    if not named:
        known = ", ".join(sorted({one.quantity for one in rows}))
        raise InputError(f"The table has no '{quantity}'; it has {known}.")
    wanted = [one for one in named if not one.unit.startswith("px")]
    unscaled = len(named) - len(wanted)
    found = []
    for name in sorted({one.quantity for one in wanted}):
        here = [one for one in wanted if one.quantity == name]
        for first, second, readings in _sides(here, by):
            found += _compared(here, readings, first=first, second=second, by=by)
    if unscaled:
        words = f"{unscaled} of {len(named)} rows have no scale and are left out"
        found = [replace(one, warnings=(*one.warnings, words)) for one in found]
    if not found:
        raise InputError(
            f"No two sides share {FEWEST} cases by {by}: agreement cannot be told from this table."
        )
    return tuple(found)


def _sides(rows: Sequence[MeasuredRow], by: By) -> Iterable[tuple[str, str, Readings]]:
    """Yield every two sides with their readings, sorted by case."""
    if by == "repeat":
        for reader in sorted({one.reader for one in rows}):
            own = [one for one in rows if one.reader == reader]
            repeats = _readings(own, lambda one: f"{one.reader}, reading {one.repeat or 1}", by)
            yield from ((a, b, repeats) for a, b in itertools.combinations(sorted(repeats), 2))
        return
    readings = _readings(rows, lambda one: one.reader if by == "reader" else one.modality, by)
    yield from ((a, b, readings) for a, b in itertools.combinations(sorted(readings), 2))


def _readings(
    rows: Sequence[MeasuredRow], side_of: Callable[[MeasuredRow], str], by: By
) -> Readings:
    readings: dict[str, dict[Case, list[float]]] = {}
    for one in rows:
        cases = readings.setdefault(side_of(one), {})
        cases.setdefault(_case(one, by), []).append(one.value)
    return readings


def _case(row: MeasuredRow, by: By) -> Case:
    moment = moment_key(row.moment)
    if by == "modality":
        return (row.study, row.reader, moment)
    view = "" if row.view_deg is None else f"{row.view_deg:g}"
    beat = "" if row.beat is None else str(row.beat)
    return (row.study, row.loop, view, moment, beat)


def _compared(
    rows: Sequence[MeasuredRow], readings: Readings, *, first: str, second: str, by: By
) -> list[Agreement]:
    one, other = readings[first], readings[second]
    shared = [case for case in one if case in other]
    if len(shared) < FEWEST:
        return []
    units = {row.unit for row in rows}
    if len(units) > 1:
        raise InputError(
            f"{rows[0].quantity} stands in {' and '.join(sorted(units))}: one unit is needed."
        )
    firsts, seconds = [one[case] for case in shared], [other[case] for case in shared]
    means = [(float(np.mean(a)), float(np.mean(b))) for a, b in zip(firsts, seconds, strict=True)]
    table = np.array(means)
    # between modalities a side's values of one case are other views, not repeats
    repeated = by == "reader" and any(len(part) > 1 for part in (*firsts, *seconds))
    return [
        Agreement(
            quantity=rows[0].quantity,
            unit=units.pop(),
            by=by,
            first=first,
            second=second,
            cases=len(shared),
            left_out=len(one) + len(other) - 2 * len(shared),
            limits=(
                limits_with_replicates(firsts, seconds, multiplier=MULTIPLIER)
                if repeated
                else limits_of_agreement(table[:, 0], table[:, 1], multiplier=MULTIPLIER)
            ),
            within={
                side: repeatability(values)
                for side, values in ((first, firsts), (second, seconds))
                if by == "reader" and any(len(part) > 1 for part in values)
            },
            intraclass=intraclass_correlations(table),
            concordance=concordance(table[:, 0], table[:, 1]),
            pairs=tuple(means),
            warnings=_warnings(rows, by, shared),
        )
    ]


def _warnings(rows: Sequence[MeasuredRow], by: By, cases: Sequence[Case]) -> tuple[str, ...]:
    warnings = []
    studies = len({case[0] for case in cases})
    if studies < len(cases):
        warnings.append(
            f"the {len(cases)} cases are views or moments of {studies} "
            f"{'study' if studies == 1 else 'studies'}: readings of one heart are not independent, "
            "so intervals are too narrow, and spread between hearts does not show"
        )
    if any(row.confirmed is False for row in rows):
        warnings.append("some rows are not confirmed by a person")
    if by == "modality":
        warnings.append(
            "a silhouette and an echo plane measure different widths of an oval: a difference "
            "between modalities is not an error by itself (see annot section)"
        )
    return tuple(warnings)


def write_agreement_picture(found: Sequence[Agreement], path: Path) -> None:
    """Write the differences against the means, with their limits, as a PNG."""
    from annot.exports import PNG, write_whole
    from annot.exports.agreement_figures import agreement_png

    write_whole(path, agreement_png(found), replaces=PNG)


__all__ = ["BY", "Agreement", "agreements_of", "write_agreement_picture"]
