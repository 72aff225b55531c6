"""Phase I and phase II: limits set once by a person, written down, and used as they stand.

Nothing here computes limits anew when later values come: `monitored` only takes limits that were
recorded. Where a baseline value was corrected afterwards, `drifted_baseline` says so in words.
"""

from collections.abc import Mapping, Sequence
from dataclasses import asdict, dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from annot.errors import InputError
from annot.quality.control_chart import (
    ControlChart,
    Limits,
    finite,
    individuals_chart,
    limits_of_individuals,
    limits_of_moving_range,
    limits_of_subgroups,
    moving_range_chart,
    subgroup_charts,
)
from annot.quality.run_length_from_baseline import ALLOWANCE, DECISION, WEIGHT, WEIGHTED_WIDTH
from annot.quality.slow_drift import cumulative_sums_chart, weighted_means_chart

CHARTS = ("individuals", "moving-range", "mean", "spread", "weighted", "sums")
NEEDS_GROUPS = frozenset({"mean", "spread"})
FEWEST_BASELINE = 8  # common practice, no source: below, limits are luck more than knowledge


@dataclass(frozen=True, slots=True, kw_only=True)
class RecordedLimits:
    """Limits of one quantity, as set in phase I.

    Attributes
    ----------
    centre, spread : Limits
        Of single values and their moving ranges, or of subgroups' means and standard deviations.
    size : int
        Values in a subgroup; 1 for single values.
    baseline : tuple of tuples of float
        The subgroups they were set from (tuples of one for single values), in order.
    members : tuple of str
        Keys of the checks that these are, in the same order.
    left_out : tuple of str
        Keys of checks in between that a person left out.
    """

    centre: Limits
    spread: Limits
    size: int
    baseline: tuple[tuple[float, ...], ...]
    members: tuple[str, ...]
    left_out: tuple[str, ...] = ()

    def as_body(self) -> dict[str, object]:
        """Return it in plain values, to be kept."""
        return asdict(self)


def from_body(body: Mapping[str, object]) -> RecordedLimits:
    """Return kept limits; raises KeyError, TypeError or ValueError for anything else."""
    centre, spread, baseline = body["centre"], body["spread"], body["baseline"]
    members, left_out, size = body["members"], body["left_out"], body["size"]
    if not (isinstance(centre, Mapping) and isinstance(spread, Mapping) and isinstance(size, int)):
        raise TypeError("limits are kept as objects")
    if not (isinstance(baseline, Sequence) and isinstance(members, Sequence)):
        raise TypeError("a baseline is kept as lists")
    return RecordedLimits(
        centre=Limits(**centre),
        spread=Limits(**spread),
        size=size,
        baseline=tuple(tuple(float(one) for one in group) for group in baseline),
        members=tuple(str(one) for one in members),
        left_out=tuple(str(one) for one in left_out) if isinstance(left_out, Sequence) else (),
    )


def set_limits(
    groups: Sequence[ArrayLike], *, members: Sequence[str], left_out: Sequence[str] = ()
) -> RecordedLimits:
    """Set limits from a baseline: phase I.

    Parameters
    ----------
    groups
        One group of readings per check, all of one size; a size of 1 gives single values.
    members
        Key of each check.
    left_out
        Keys of those that a person takes out of the baseline, for a reason written down elsewhere.

    Raises
    ------
    InputError
        If fewer than 8 checks are left, sizes differ, a key to leave out is unknown, or nothing
        ever changes.
    """
    unknown = sorted(set(left_out) - set(members))
    if unknown:
        raise InputError(f"The baseline has no check {', '.join(unknown)} to leave out.")
    rows = [finite(one, name=f"check {key}") for one, key in zip(groups, members, strict=True)]
    kept = [(row, key) for row, key in zip(rows, members, strict=True) if key not in left_out]
    if len(kept) < FEWEST_BASELINE:
        raise InputError(
            f"A baseline needs at least {FEWEST_BASELINE} checks, and there are {len(kept)}: go on "
            "checking before limits are set."
        )
    sizes = {len(row) for row, _ in kept}
    if len(sizes) != 1:
        raise InputError("The baseline's checks differ in their number of readings.")
    size, baseline = sizes.pop(), [row for row, _ in kept]
    centre, spread = (
        (limits_of_individuals(np.ravel(baseline)), limits_of_moving_range(np.ravel(baseline)))
        if size == 1
        else limits_of_subgroups(baseline)
    )
    return RecordedLimits(
        centre=centre,
        spread=spread,
        size=size,
        baseline=tuple(tuple(row.tolist()) for row in baseline),
        members=tuple(key for _, key in kept),
        left_out=tuple(left_out),
    )


def monitored(
    groups: Sequence[ArrayLike], limits: RecordedLimits, *, chart: str = "individuals"
) -> tuple[ControlChart, ...]:
    """Chart checks under recorded limits: phase II.

    Parameters
    ----------
    groups
        One group of readings per check.
    limits
        As recorded; they are never changed by what is charted.
    chart
        One of `CHARTS`; `individuals`, `weighted` and `sums` chart each group's mean.

    Returns
    -------
    One chart; two for sums (upper, lower).

    Raises
    ------
    InputError
        If there is no such chart, or groups are not of the limits' size.
    """
    rows = _fitting(groups, limits, chart)
    means = np.array([row.mean() for row in rows])
    if chart == "individuals":
        return (individuals_chart(means, limits.centre),)
    if chart == "moving-range":
        return (moving_range_chart(means, limits.spread),)
    if chart == "weighted":
        return (weighted_means_chart(means, limits.centre, weight=WEIGHT, width=WEIGHTED_WIDTH),)
    if chart == "sums":
        return _sums(means, limits.centre)
    both = subgroup_charts(rows, (limits.centre, limits.spread))
    return (both[0] if chart == "mean" else both[1],)


def _fitting(
    groups: Sequence[ArrayLike], limits: RecordedLimits, chart: str
) -> list[NDArray[np.float64]]:
    """Return the groups; raise InputError where chart, limits and groups do not go together."""
    if chart not in CHARTS:
        raise InputError(f"There is no chart '{chart}': choose one of {', '.join(CHARTS)}.")
    rows = [finite(one, name="a check") for one in groups]
    if {len(row) for row in rows} != {limits.size}:
        raise InputError(
            f"The limits were set for {limits.size} reading(s) per check, and a check has another "
            "number: take as many, or set limits anew."
        )
    if chart in NEEDS_GROUPS and limits.size == 1:
        raise InputError("Means and spreads need several readings per check; use individuals.")
    if chart == "moving-range" and limits.size > 1:
        raise InputError("A moving range is of single readings; use spread for several.")
    return rows


def _sums(means: ArrayLike, centre: Limits) -> tuple[ControlChart, ControlChart]:
    return cumulative_sums_chart(
        means,
        target=centre.centre,
        allowance=ALLOWANCE * centre.sigma,
        decision=DECISION * centre.sigma,
    )


def drifted_baseline(
    limits: RecordedLimits, now: Mapping[str, ArrayLike], *, digits: float = 1e-9
) -> str:
    """Return what became of the baseline since the limits were set, empty if it stands.

    Parameters
    ----------
    now
        Readings of each check by its key, as they stand today.
    """
    changed = []
    for key, was in zip(limits.members, limits.baseline, strict=True):
        current = now.get(key)
        if current is None or not _same(np.asarray(current, dtype=float), was, digits):
            changed.append(key)
    if not changed:
        return ""
    return (
        f"{len(changed)} of {len(limits.members)} baseline checks were changed or taken out since "
        f"the limits were set ({', '.join(changed[:3])}{', …' if len(changed) > 3 else ''}): the "
        "limits stand as recorded until somebody sets them anew, with a reason"
    )


def _same(current: NDArray[np.float64], was: tuple[float, ...], digits: float) -> bool:
    return current.shape == (len(was),) and np.allclose(current, was, rtol=digits, atol=0.0)
