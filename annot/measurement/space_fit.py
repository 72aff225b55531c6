"""Landmarks in space from two views: the places that both views agree on best."""

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from annot.geometry.projection import Projection, nearest_crossing

FloatArray = NDArray[np.float64]
Views = tuple[Projection, Projection]
ROUNDS = 40


@dataclass(frozen=True, slots=True, kw_only=True)
class Leeway:
    """A stated figure of the stand that may be off: its field, whose, and by how much.

    Attributes
    ----------
    field : str
        primary_deg, secondary_deg, sid_mm or sod_mm of a `Projection`.
    views : tuple of int
        Which views have it; both where it is one figure of one stand.
    u : float
        Standard uncertainty.
    """

    field: str
    views: tuple[int, ...]
    u: float


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class SpaceFit:
    """Places of landmarks, and how the views must be changed to agree on them.

    Attributes
    ----------
    places_mm : array, shape (n, 3)
        In patient axes, from the first view's isocentre.
    shift_mm : array, shape (3,)
        Where the second view's isocentre lies, beyond what its header says.
    changes : array, shape (k,)
        Of the stand's figures, in the order of the leeways.
    chi2 : float
        Misfit in units of the stated uncertainties; it has n degrees of freedom.
    gain : array, shape (3 n + 3 + k, 4 n + 3 + k)
        How all of these follow (row, column) of every landmark in both views, the shift that was
        expected, and the stand's figures as stated.
    """

    places_mm: FloatArray
    shift_mm: FloatArray
    changes: FloatArray
    chi2: float
    gain: FloatArray


def fit_space(
    views: Views,
    points_px: FloatArray,
    u_px: FloatArray,
    *,
    u_shift_mm: float,
    leeways: Sequence[Leeway] = (),
) -> SpaceFit:
    """Solve places, shift and the stand's figures by least squares in the pictures.

    Every landmark has four coordinates for three unknowns. The fourth of several landmarks
    together tell a shift between the views, within what `u_shift_mm` allows. A shift along the
    line between the two sources leaves no trace in the pictures and stays as uncertain as it was.

    Parameters
    ----------
    views : pair of Projection
    points_px : array, shape (n, 2, 2)
        Landmark, view, (row, column).
    u_px : array, shape (n,)
        Standard uncertainty of a coordinate of each landmark.
    u_shift_mm : float
        Standard uncertainty of the second view's isocentre along each axis.
    leeways : sequence of Leeway
    """
    count = len(points_px)
    start, _ = nearest_crossing(*views, (points_px[:, 0], points_px[:, 1]))
    unknown = np.concatenate([start.ravel(), np.zeros(3 + len(leeways))])
    further = [u_shift_mm] * 3 + [one.u for one in leeways]
    weights = 1 / np.concatenate([np.repeat(u_px, 4), np.array(further)])
    for _ in range(ROUNDS):
        design, misfit = _linear(views, points_px, unknown, leeways)
        step = np.linalg.lstsq(design * weights[:, None], misfit * weights, rcond=None)[0]
        unknown = unknown + step
        if np.max(np.abs(step)) < 1e-9:
            break
    design, misfit = _linear(views, points_px, unknown, leeways)
    weighted = design * weights[:, None]
    return SpaceFit(
        places_mm=unknown[: 3 * count].reshape(count, 3),
        shift_mm=unknown[3 * count : 3 * count + 3],
        changes=unknown[3 * count + 3 :],
        chi2=float(np.sum((misfit * weights) ** 2)),
        gain=np.linalg.pinv(weighted) * weights,
    )


def changed_views(
    views: Views, shift_mm: FloatArray, changes: FloatArray, leeways: Sequence[Leeway]
) -> Views:
    """Return the views with a shift of the second and changed figures of the stand."""
    moved = [views[0], shifted(views[1], shift_mm)]
    for one, change in zip(leeways, changes, strict=True):
        for index in one.views:
            figure = getattr(moved[index], one.field) + float(change)
            moved[index] = replace(moved[index], **{one.field: figure})
    return moved[0], moved[1]


def shifted(view: Projection, shift_mm: FloatArray) -> Projection:
    """Return a view whose isocentre lies further along."""
    x, y, z = (float(a + b) for a, b in zip(view.shift_mm, shift_mm, strict=True))
    return replace(view, shift_mm=(x, y, z))


def _linear(
    views: Views, points_px: FloatArray, unknown: FloatArray, leeways: Sequence[Leeway]
) -> tuple[FloatArray, FloatArray]:
    """Return derivatives of all observations by all unknowns, and what is left of them."""
    count, further = len(points_px), 3 * len(points_px)
    places = unknown[:further].reshape(count, 3)
    shift, changes = unknown[further : further + 3], unknown[further + 3 :]
    moved = changed_views(views, shift, changes, leeways)
    design = np.zeros((4 * count + 3 + len(leeways), len(unknown)))
    for index in range(count):
        for number, view in enumerate(moved):
            rows = slice(4 * index + 2 * number, 4 * index + 2 * number + 2)
            slopes = view.slopes(places[index])
            design[rows, 3 * index : 3 * index + 3] = slopes
            if number == 1:
                design[rows, further : further + 3] = -slopes
    for column, one in enumerate(leeways, start=further + 3):
        step = 1e-4 * one.u * (np.arange(len(leeways)) == column - further - 3)
        sides = [
            _shown(changed_views(views, shift, changes + sign * step, leeways), places)
            for sign in (1, -1)
        ]
        design[: 4 * count, column] = (sides[0] - sides[1]) / (2e-4 * one.u)
    design[4 * count :, further:] = np.eye(3 + len(leeways))
    seen = np.concatenate([points_px.ravel() - _shown(moved, places), -unknown[further:]])
    return design, seen


def _shown(views: Views, places: FloatArray) -> FloatArray:
    """Return (row, column) of every landmark in both views, flat."""
    return np.stack([view.project(places) for view in views], axis=1).ravel()
