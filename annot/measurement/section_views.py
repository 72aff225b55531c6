"""Rows of a table become lengths seen in views, with the errors they share rebuilt."""

import math
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from annot.measurement.measured_row import MeasuredRow
from annot.vocabulary.measurands import OFFSETS

FloatArray = NDArray[np.float64]
ULTRASOUND = "US"
LEAST_OWN = 1e-3


@dataclass(frozen=True, slots=True, kw_only=True)
class SeenLength:
    """A length as one view shows it: a row, or the mean of several rows of that view.

    Attributes
    ----------
    rows : tuple of MeasuredRow
        What it came from.
    value : float
        In mm.
    own_u : float
        Standard uncertainty that it shares with no other length but through the tilt.
    tilt_u : float
        Part of `own_u` from an unknown tilt, which is the same for every reading of its loop.
    shared : mapping
        Signed standard uncertainty by the error it is shared through, such as ``scale:ID``.
    direction_deg : float or None
        Direction in the plane of the cross-section, 0 to 180.
    """

    rows: tuple[MeasuredRow, ...]
    value: float
    own_u: float
    shared: Mapping[str, float] = field(default_factory=dict)
    direction_deg: float | None = None
    tilt_u: float = 0.0

    @property
    def u(self) -> float:
        """Combined standard uncertainty."""
        return math.hypot(self.own_u, *self.shared.values())

    @property
    def silhouette(self) -> bool:
        """Whether it is a shadow's width; an ultrasound plane shows a chord."""
        return self.rows[0].modality != ULTRASOUND

    @property
    def words(self) -> str:
        """The view as a reader names it."""
        row = self.rows[0]
        view = "view" if self.direction_deg is None else f"{self.direction_deg:.4g}° view"
        loops = sorted({one.loop for one in self.rows if one.loop})
        where = f" of {', '.join(loops)}" if loops else ""
        several = f" ({len(self.rows)} rows)" if len(self.rows) > 1 else ""
        return f"{row.modality} {view}{where}{several}".strip()


def shared_parts(row: MeasuredRow) -> dict[str, float]:
    """Return the row's errors that other rows may share, as standard uncertainties.

    `share_scale` is without the object's and the system's part where `object_id` and `system_id`
    are given, so the five are independent of one another.
    """
    parts = {
        f"scale:{row.scale_id}": (row.scale_id, row.share_scale),
        f"object:{row.object_id}": (row.object_id, row.share_object),
        f"system:{row.system_id}": (row.system_id, row.share_system),
        f"depth:{row.depth_group}": (row.depth_group, row.share_depth),
        f"speed:{row.speed_group}": (row.speed_group, row.share_speed),
    }
    # what stretches lengths moves an offset away from zero, to whichever side it lies
    way = -1.0 if row.quantity in OFFSETS and row.value < 0 else 1.0
    return {
        name: way * row.u * math.sqrt(share)
        for name, (identity, share) in parts.items()
        if identity and share is not None and share > 0
    }


def seen_length(row: MeasuredRow) -> SeenLength:
    """Return one row as a length, its variance split into shared parts and its own."""
    shared = shared_parts(row)
    # rows that share all of their error could not be weighed: a thousandth of u is their own
    least = (LEAST_OWN * row.u) ** 2
    own = max(row.u**2 - sum(part**2 for part in shared.values()), least)
    return SeenLength(
        rows=(row,),
        value=row.value,
        own_u=math.sqrt(own),
        shared=shared,
        direction_deg=None if row.view_deg is None else row.view_deg % 180.0,
        tilt_u=min(row.u * math.sqrt(max(row.share_tilt or 0.0, 0.0)), math.sqrt(own)),
    )


def rescaled(seen: SeenLength, value: float, slope: float) -> SeenLength:
    """Return a quantity that follows the length with a slope, with the errors it inherits."""
    return SeenLength(
        rows=seen.rows,
        value=value,
        own_u=abs(slope) * seen.own_u,
        shared={name: slope * part for name, part in seen.shared.items()},
        direction_deg=seen.direction_deg,
        tilt_u=abs(slope) * seen.tilt_u,
    )


def mean_length(lengths: Sequence[SeenLength], *, pooled_sd: float = 0.0) -> SeenLength:
    """Return the mean of lengths of one view: repeats, or beats.

    Shared errors average without falling, and so does the tilt within one loop, which repeats do
    not change. The rest of the own part is the larger of what the rows state and what their scatter
    shows, divided by √n: a heart's beats differ by more than an end's placing.
    """
    count = len(lengths)
    names = {name for one in lengths for name in one.shared}
    stated = float(np.mean([max(one.own_u**2 - one.tilt_u**2, 0.0) for one in lengths]))
    variance = max(stated, pooled_sd**2) if count > 1 else stated
    tilts: dict[str, float] = {}
    for one in lengths:
        loop = next((row.loop for row in one.rows), "")
        tilts[loop] = tilts.get(loop, 0.0) + one.tilt_u / count
    tilt = math.hypot(*tilts.values())
    return SeenLength(
        rows=tuple(row for one in lengths for row in one.rows),
        value=float(np.mean([one.value for one in lengths])),
        own_u=math.hypot(math.sqrt(variance / count), tilt),
        shared={name: sum(one.shared.get(name, 0.0) for one in lengths) / count for name in names},
        direction_deg=lengths[0].direction_deg,
        tilt_u=tilt,
    )


def views_of(rows: Iterable[MeasuredRow]) -> tuple[SeenLength, ...]:
    """Return one length per view: rows of one loop in one direction, else in one projection.

    These are repeats or beats. The scatter within views is pooled over all of them.
    """
    groups: dict[object, list[SeenLength]] = {}
    for row in rows:
        groups.setdefault(_view_key(row), []).append(seen_length(row))
    rest = [
        one.value - float(np.mean([other.value for other in group]))
        for group in groups.values()
        for one in group
    ]
    freedom = len(rest) - len(groups)
    pooled = math.sqrt(float(np.sum(np.square(rest))) / freedom) if freedom > 0 else 0.0
    return tuple(mean_length(group, pooled_sd=pooled) for group in groups.values())


def _view_key(row: MeasuredRow) -> object:
    if row.view_deg is not None:
        return (row.loop, round(row.view_deg % 180.0, 3) % 180.0)
    return (row.loop, row.primary_deg, row.secondary_deg)


def covariance_of(
    lengths: Sequence[SeenLength], true_values: FloatArray | None = None
) -> FloatArray:
    """Return the covariance of lengths, shape (n, n).

    `true_values` rescales the shared parts, which are errors in proportion to the length.
    """
    loads, _ = _loadings(lengths, lengths)
    if true_values is not None:
        loads = loads * (true_values / np.array([one.value for one in lengths]))[:, None]
    own = np.array([one.own_u for one in lengths])
    return np.asarray(np.diag(own**2) + loads @ loads.T)


def cross_covariance(first: Sequence[SeenLength], second: Sequence[SeenLength]) -> FloatArray:
    """Return the covariance between two sets of lengths through shared errors, shape (n, m)."""
    loads, others = _loadings(first, second)
    return np.asarray(loads @ others.T)


def _loadings(
    first: Sequence[SeenLength], second: Sequence[SeenLength]
) -> tuple[FloatArray, FloatArray]:
    names = sorted({name for one in (*first, *second) for name in one.shared})
    tables = [
        np.array([[one.shared.get(name, 0.0) for name in names] for one in lengths])
        for lengths in (first, second)
    ]
    return tables[0].reshape(len(first), len(names)), tables[1].reshape(len(second), len(names))


def off_centre(seen: SeenLength, reach_mm: float) -> SeenLength:
    """Return a chord corrected for a plane that may miss the centre by up to ± `reach_mm`.

    A chord at the offset δ is √(1 − (2δ/W)²) of the central one, W the width across it. For δ
    uniform within the reach the mean loss is 2·reach²/(3·W²) and its scatter 4/√45 of
    reach²/W² (second order; W is taken to be the chord itself).
    """
    if reach_mm <= 0 or seen.silhouette:
        return seen
    part = (reach_mm / seen.value) ** 2
    longer = rescaled(seen, seen.value * (1 + 2 * part / 3), 1 + 2 * part / 3)
    scatter = seen.value * part * 4 / math.sqrt(45)
    return SeenLength(
        rows=longer.rows,
        value=longer.value,
        own_u=math.hypot(longer.own_u, scatter),
        shared=longer.shared,
        direction_deg=longer.direction_deg,
        tilt_u=longer.tilt_u,
    )


def shares_missing(rows: Iterable[MeasuredRow]) -> bool:
    """Tell whether some row does not say which part of its variance it shares."""
    return any(row.share_scale is None or not row.scale_id for row in rows)
