"""Where too few directions were seen for an ellipse: every ellipse that they leave open, drawn.

One or two views cannot tell how oval an opening is, nor which way it lies. Taking the widest of
them for the largest diameter would state a bound as if it were the value, so what is not known is
drawn: how oval, which way round, and the views' own errors; the size then follows from the views.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from annot.measurement.section_views import SeenLength, covariance_of

FloatArray = NDArray[np.float64]
# 1 − smallest/largest. Published mean diameters of patients give 0.23 (19.3 and 25.1 mm) and 0.32
# (17.0 and 24.9 mm); single hearts lie on both sides. The upper end: common practice, no source.
MOST_OVAL = 0.45
TRIES = 100_000


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class OpenEllipses:
    """Ellipses as the views leave them open.

    Attributes
    ----------
    largest, smallest : array, shape (n,)
        Axes in mm.
    errors : array, shape (n, views)
        Each view's error (seen − true) in mm that belongs to the ellipse.
    """

    largest: FloatArray
    smallest: FloatArray
    errors: FloatArray


def draw_open_ellipses(
    seen: Sequence[SeenLength], *, shadows: bool, rng: np.random.Generator, draws: int
) -> OpenEllipses:
    """Draw ellipses that the views allow, by weighing tries with the views' likelihood.

    The size has a flat prior and is drawn exactly, given how oval the ellipse is and which way it
    lies; a view without a direction may have any.

    Parameters
    ----------
    seen : sequence of SeenLength, one or more
    shadows : bool
        Whether the views are silhouettes; chords through the centre otherwise.
    """
    values = np.array([one.value for one in seen])
    precision = np.linalg.inv(covariance_of(seen))
    ratio = 1 - rng.uniform(0, MOST_OVAL, (TRIES, 1))
    away = _directions(seen, rng) - rng.uniform(0, np.pi, (TRIES, 1))
    # each view's width for a largest axis of one
    if shadows:
        per_mm = np.sqrt(np.cos(away) ** 2 + (ratio * np.sin(away)) ** 2)
    else:
        per_mm = 1 / np.sqrt(np.cos(away) ** 2 + (np.sin(away) / ratio) ** 2)
    information = np.einsum("ij,jk,ik->i", per_mm, precision, per_mm)
    best = per_mm @ precision @ values / information
    log_weight = information * best**2 / 2 - np.log(information) / 2
    weight = np.exp(log_weight - np.max(log_weight))
    kept = rng.choice(TRIES, size=draws, p=weight / np.sum(weight))
    largest = best[kept] + rng.standard_normal(draws) / np.sqrt(information[kept])
    return OpenEllipses(
        largest=largest,
        smallest=largest * ratio[kept, 0],
        errors=values - largest[:, None] * per_mm[kept],
    )


def _directions(seen: Sequence[SeenLength], rng: np.random.Generator) -> FloatArray:
    columns = [
        rng.uniform(0, np.pi, TRIES)
        if one.direction_deg is None
        else np.full(TRIES, np.radians(one.direction_deg))
        for one in seen
    ]
    return np.stack(columns, axis=1)
