"""What a fit of a wall's edge says, and the profile it is fitted to."""

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from annot.geometry import PixelPoint, profiles

FloatArray = NDArray[np.float64]

STEP_PX = 0.5
REACH_PX = 14.0
HALF_WIDTH_PX = 4.0


@dataclass(frozen=True, slots=True, kw_only=True)
class NoEdge:
    """No edge, and why. False in a condition."""

    reason: str

    def __bool__(self) -> bool:
        return False


@dataclass(frozen=True, slots=True, kw_only=True)
class Edge:
    """An edge on a profile.

    Attributes
    ----------
    at_px : float
        Along the profile's direction, 0 where the end was drawn.
    u_fit_px : float
        Standard uncertainty by the fit's own scatter; what the model does not know comes on top.
    contrast_to_noise : float
        Height of the edge over the scatter about the fit.
    """

    at_px: float
    u_fit_px: float
    contrast_to_noise: float


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Profile:
    """Grey values along a line through an end, averaged across it.

    Attributes
    ----------
    along_px : array, shape (n,)
        Distance outward from the drawn end.
    grey : array, shape (n,)
    """

    along_px: FloatArray
    grey: FloatArray


def profile_through(
    frame: NDArray[np.generic], end: PixelPoint, inner: PixelPoint
) -> Profile | NoEdge:
    """Sample a frame along the line from an inner point out through an end.

    Parameters
    ----------
    frame : array, shape (rows, columns)
    end, inner : PixelPoint
        Positive distances lead away from `inner`.
    """
    run = np.asarray(end, dtype=float) - np.asarray(inner, dtype=float)
    length = float(np.hypot(*run))
    outward = run / length
    inward_reach = min(REACH_PX, 0.45 * length)
    along = np.arange(-inward_reach, REACH_PX + 1e-9, STEP_PX)
    places = np.asarray(end, dtype=float) + along[:, None] * outward
    across = np.broadcast_to(np.array([-outward[1], outward[0]]), places.shape)
    grey = profiles(frame, places, across, np.arange(-HALF_WIDTH_PX, HALF_WIDTH_PX + 1e-9)).mean(
        axis=1
    )
    inside = np.isfinite(grey)
    if inside.sum() < 0.7 * along.size or not inside[np.abs(along) < 5].all():
        return NoEdge(reason="the end lies too near the picture's border for a profile")
    return Profile(along_px=along[inside], grey=grey[inside])


def scatter_of(residuals: FloatArray, parameters: int) -> tuple[float, float]:
    """Return the standard deviation about a fit, and how many samples count as one.

    Neighbours on a profile share pixels and blur, so they repeat each other: the integrated
    correlation of the residuals says how much.
    """
    count = residuals.size
    sd = float(np.sqrt(np.sum(residuals**2) / max(count - parameters, 1)))
    centred = residuals - residuals.mean()
    power = float(centred @ centred)
    repeated = 1.0
    for lag in range(1, count // 3):
        part = float(centred[:-lag] @ centred[lag:]) / power if power > 0 else 0.0
        if part <= 0:
            break
        repeated += 2.0 * part
    return sd, repeated


def edge_of_fit(
    model: Callable[[FloatArray], FloatArray],
    grey: FloatArray,
    starts: list[list[float]],
    *,
    bounds: tuple[list[float], list[float]],
    height: Callable[[FloatArray], float],
) -> Edge | NoEdge:
    """Fit a model whose first parameter is the edge's place, from several starts.

    Parameters
    ----------
    model : callable
        Parameters to grey values, shape of `grey`.
    height : callable
        Parameters to the edge's height in grey values.
    """
    from scipy.optimize import least_squares

    unit = float(np.std(grey)) + 1e-9
    best = None
    for start in starts:
        fit = least_squares(
            lambda p: (model(p) - grey) / unit,
            start,
            bounds=bounds,
            loss="soft_l1",
            f_scale=0.1,
            x_scale="jac",
        )
        if best is None or fit.cost < best.cost:
            best = fit
    if best is None or not best.success:
        return NoEdge(reason="the edge's model does not settle on this profile")
    sd, repeated = scatter_of((model(best.x) - grey) / unit, best.x.size)
    information = best.jac.T @ best.jac
    if np.linalg.matrix_rank(information) < best.x.size:
        return NoEdge(reason="the profile does not fix where the edge is")
    variance = float(np.linalg.inv(information)[0, 0]) * sd**2 * repeated
    return Edge(
        at_px=float(best.x[0]),
        u_fit_px=float(np.sqrt(variance)),
        contrast_to_noise=height(best.x) / (sd * unit + 1e-9),
    )
