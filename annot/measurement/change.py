"""How a quantity changed between two reads: paired by view, with the errors both share."""

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

import numpy as np

from annot.measurement.estimate import StatedValue, normal_estimate
from annot.measurement.measured_row import MeasuredRow
from annot.measurement.section_views import (
    SeenLength,
    cross_covariance,
    mean_length,
    seen_length,
    shares_missing,
)
from annot.vocabulary.protocol import View, moment_key

SAME_VIEW_DEG = 10.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Change:
    """One quantity in one view, before and after.

    Attributes
    ----------
    quantity : str
    view : str
        In a reader's words.
    before, after : StatedValue
        Means of the repeats in that view.
    difference : StatedValue
        After minus before.
    correlation : float
        Between the two, through scale, object, system, depth and speed of sound that both share.
    moment : str
        Of the cycle; empty where neither side states it.
    """

    quantity: str
    view: str
    before: StatedValue
    after: StatedValue
    difference: StatedValue
    correlation: float
    moment: str = ""
    warnings: tuple[str, ...] = ()

    @property
    def where(self) -> str:
        """The view, with the moment of the cycle where it is stated."""
        return ", ".join(one for one in (self.view, self.moment) if one)

    def facts(self) -> dict[str, object]:
        """Return it for machines."""
        return {
            "quantity": self.quantity,
            "view": self.view,
            "moment": self.moment or None,
            "before": self.before.as_dict(),
            "after": self.after.as_dict(),
            "difference": self.difference.as_dict(),
            "correlation": self.correlation,
            "warnings": list(self.warnings),
        }


def changes_between(
    before: Iterable[MeasuredRow], after: Iterable[MeasuredRow]
) -> tuple[Change, ...]:
    """Pair every quantity and view that two tables have in common.

    Views are the same where echo planes or both positioner angles lie within 10°. What was taken
    at another moment of the cycle is another thing and is not paired.

    Parameters
    ----------
    before, after : iterable of MeasuredRow
        Rows in pixels are left out: they have no scale by which they could be compared.
    """
    earlier, later = _groups(before), _groups(after)
    found = []
    for key, rows in earlier:
        for other, others in later:
            same = key[:2] == other[:2] and _same(key[2], other[2])
            # one that states no moment may be of either, and a note says so
            if same and (key[3] == other[3] or not (key[3] and other[3])):
                found.append(_change(key, rows, others))
    return tuple(found)


Key = tuple[str, str, View, str]
Groups = list[tuple[Key, list[MeasuredRow]]]


def _groups(rows: Iterable[MeasuredRow]) -> Groups:
    groups: Groups = []
    for row in rows:
        view = _view_of(row)
        if row.unit.startswith("px") or row.u <= 0:
            continue
        moment = moment_key(row.moment)
        own = next(
            (
                one
                for (quantity, unit, seen, when), one in groups
                if (quantity, unit, when) == (row.quantity, row.unit, moment) and _same(seen, view)
            ),
            None,
        )
        if own is None:
            groups.append(((row.quantity, row.unit, view, moment), [row]))
        else:
            own.append(row)
    return groups


def _view_of(row: MeasuredRow) -> View:
    if row.modality == "US":
        plane = None if row.view_deg is None else row.view_deg % 180.0
        return View(modality="US", plane_deg=plane, within_deg=SAME_VIEW_DEG)
    return View(
        modality="XA",
        primary_deg=row.primary_deg,
        secondary_deg=row.secondary_deg,
        within_deg=SAME_VIEW_DEG,
    )


def _same(one: View, other: View) -> bool:
    """Tell whether two views are one; what states no angle matches only what states none."""
    stated = [
        (each.plane_deg is None, each.primary_deg is None or each.secondary_deg is None)
        for each in (one, other)
    ]
    return stated[0] == stated[1] and one.matches(
        other.modality,
        plane_deg=other.plane_deg,
        primary_deg=other.primary_deg,
        secondary_deg=other.secondary_deg,
    )


def _change(key: Key, rows: Sequence[MeasuredRow], others: Sequence[MeasuredRow]) -> Change:
    quantity, unit, view, _ = key
    when = sorted({moment_key(one.moment) for one in (*rows, *others)} - {""})
    first, second = (_mean(one) for one in (rows, others))
    shared = float(cross_covariance([first], [second])[0, 0])
    variance = max(first.u**2 + second.u**2 - 2 * shared, 0.0)
    return Change(
        quantity=quantity,
        view=view.title,
        moment=", ".join(when),
        before=normal_estimate(first.value, first.u, unit),
        after=normal_estimate(second.value, second.u, unit),
        difference=normal_estimate(second.value - first.value, math.sqrt(variance), unit),
        correlation=shared / (first.u * second.u),
        warnings=tuple(_notes(rows, others)),
    )


def _mean(rows: Sequence[MeasuredRow]) -> SeenLength:
    lengths = [seen_length(row) for row in rows]
    scatter = float(np.std([one.value for one in lengths], ddof=1)) if len(lengths) > 1 else 0.0
    return mean_length(lengths, pooled_sd=scatter)


def _notes(rows: Sequence[MeasuredRow], others: Sequence[MeasuredRow]) -> Iterable[str]:
    if len({moment_key(one.moment) for one in (*rows, *others)}) > 1:
        yield "the moment of the cycle is stated on one side only, so it may be another one"
    conditions = [sorted({one.conditions for one in side}) for side in (rows, others)]
    if conditions[0] != conditions[1]:
        yield "the two were taken under different conditions, which alone change sizes"
    if any("not stated" in text for side in conditions for text in side):
        yield "conditions are not stated for both, so filling and moment may differ"
    if shares_missing([*rows, *others]):
        yield "a row does not say what it shares, so shared errors are not taken out"
    readers = [{one.reader for one in side} for side in (rows, others)]
    if readers[0] != readers[1]:
        yield "read by different readers, whose difference is not in the interval"
