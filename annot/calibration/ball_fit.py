"""The diameter of a ball in pixels: a blurred ball's shadow fitted to the patch around it."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from annot.calibration.allowances import PRIMARY_SHARE, PRIMARY_SHARE_U
from annot.calibration.open_field import first_hidden, hidden_field
from annot.calibration.scale import NoScale
from annot.calibration.shadow import BallShadow
from annot.geometry import PixelPoint

FloatArray = NDArray[np.float64]
SECTORS = 12
LEAST_SECTORS = 7
MISFIT_OF_CLEAN = 1.6  # a sector's misfit over that of the clean quarter
ROUND = 0.03  # relative difference of the axes up to which a shadow counts as round
LARGEST_OVAL = 0.045  # beyond which it is no ball's shadow; between both the interval is wider
FAR_TOO_OVAL = 0.06  # no ball, however little is known of its roundness
MIN_CONTRAST_TO_NOISE = 2.0
MAX_SATURATED_SHARE = 0.02
LARGEST_U_REL = 0.05  # a looser diameter is no reference
FARTHEST_RATIO = 1.6  # fitted over marked diameter, and its inverse
LEAST_EXPLAINED = 1.3  # misfit of a bent background alone over the misfit with the ball
# the unknowns: log diameter, row, column, log blur, log optical depth


@dataclass(frozen=True, slots=True, kw_only=True)
class BallFit:
    """What was found.

    Attributes
    ----------
    diameter_px, u_diameter_px : float
        The uncertainty from the sectors' scatter or the fit, whichever is larger.
    sectors_used, sectors_rejected : int
        Twelfths of the surroundings that look like a ball on a smooth background, or do not.
    oval_rel : float
        Difference of the longest and shortest diameter over their mean, not more than chance aside.
    """

    diameter_px: float
    u_diameter_px: float
    dof: float
    centre: PixelPoint
    blur_px: float
    contrast_to_noise: float
    sectors_used: int = SECTORS
    sectors_rejected: int = 0
    oval_rel: float = 0.0


@dataclass(frozen=True, slots=True, kw_only=True)
class _Patch:
    row: FloatArray
    column: FloatArray
    value: FloatArray
    sector: NDArray[np.intp]
    reach: float

    def without(self, sector: int) -> "_Patch":
        kept = self.sector != sector
        return _Patch(
            row=self.row[kept],
            column=self.column[kept],
            value=self.value[kept],
            sector=self.sector[kept],
            reach=self.reach,
        )


def fit_ball(
    frame: NDArray[np.generic],
    centre: PixelPoint,
    radius_px: float,
    *,
    full_scale: float | None = None,
    hidden: NDArray[np.bool_] | None = None,
) -> BallFit | NoScale:
    """Fit a ball near a first guess.

    Parameters
    ----------
    frame : array, shape (rows, columns)
        Stored pixels proportional to X-ray intensity.
    centre, radius_px
        First guess by hand; the ball lies within about half a radius of it.
    full_scale : float, optional
        Largest value a pixel can store.
    hidden : array of bool, shape (rows, columns), optional
        What the file's own shutter covers.

    Returns
    -------
    BallFit, or NoScale with the reason: cut by the border, saturated, too faint.
    """
    patch = _cut(frame, centre, radius_px)
    if isinstance(patch, NoScale):
        return patch
    start = np.array([np.log(2 * radius_px), centre.row, centre.column, np.log(1.2), np.log(0.5)])
    # asked of all that was cut out: sectors under a blade would be set aside as spoiled
    covered = _covered(frame, patch, hidden)
    patch, vector, noise, covariance = _clean(patch, start)
    used = np.unique(patch.sector)
    fault = (
        covered
        or _fault(frame, patch, vector, noise=noise, full_scale=full_scale)
        or _strayed(vector, centre, radius_px)
    )
    if fault:
        return NoScale(reason=fault)
    diameter, oval = float(np.exp(vector[0])), _oval(patch, vector, noise)
    left_out = [_solve(patch.without(index), vector, noise=noise, turns=1)[0][0] for index in used]
    jackknife = float(np.sqrt((len(used) - 1) * np.var(np.exp(left_out))))
    u_diameter = max(jackknife, diameter * float(np.sqrt(covariance[0, 0])))
    u_diameter = float(np.hypot(u_diameter, diameter * _u_of_oval(*oval)))
    fault = _no_reference(u_diameter / diameter, oval)
    if fault:
        return NoScale(reason=fault)
    return BallFit(
        diameter_px=diameter,
        u_diameter_px=u_diameter,
        dof=len(used) - 1.0,
        centre=PixelPoint(float(vector[1]), float(vector[2])),
        blur_px=float(np.exp(vector[3])),
        contrast_to_noise=_contrast(patch, vector) / noise,
        sectors_used=len(used),
        sectors_rejected=SECTORS - len(used),
        oval_rel=oval[0],
    )


def _u_of_oval(oval: float, chance: float) -> float:
    """Return what a shadow that is not quite round leaves open: any diameter between its axes."""
    return oval / 2.0 / float(np.sqrt(3.0)) if oval > max(ROUND, 3 * chance) else 0.0


def _no_reference(u_rel: float, oval: tuple[float, float]) -> str:
    """Return why what was fitted is no ball to measure by, empty when it is."""
    beyond_chance = oval[0] > 3 * oval[1] or oval[0] > FAR_TOO_OVAL
    if oval[0] > LARGEST_OVAL and beyond_chance:
        return (
            f"the shadow is oval, its axes differ by {100 * oval[0]:.0f} %: it moved, something "
            "lies over it or it is no ball; choose another frame"
        )
    if u_rel > LARGEST_U_REL:
        return (
            f"the ball's diameter is uncertain by {100 * u_rel:.0f} %: its edge is too blurred, "
            "too faint or too broken to measure by"
        )
    return ""


def _clean(patch: _Patch, start: FloatArray) -> tuple[_Patch, FloatArray, float, FloatArray]:
    """Fit, leave out sectors that something else lies in, and fit again until none leaves."""
    vector, noise, covariance = _solve(patch, start)
    for _ in range(3):
        misfit = (_weights(patch, vector)[0] - patch.value) ** 2
        sectors = np.unique(patch.sector)
        rms = np.sqrt([float(np.mean(misfit[patch.sector == one])) for one in sectors])
        odd = sectors[rms > MISFIT_OF_CLEAN * np.quantile(rms, 0.25)]
        if not len(odd) or len(sectors) - len(odd) < LEAST_SECTORS:
            break
        for one in odd:
            patch = patch.without(int(one))
        vector, noise, covariance = _solve(patch, vector)
    return patch, vector, noise, covariance


def _covered(frame: NDArray[np.generic], patch: _Patch, hidden: NDArray[np.bool_] | None) -> str:
    """Return where blades or shutter reach the ball or its background, empty if they do not."""
    spots = np.stack([patch.row, patch.column], axis=1)
    place = first_hidden(hidden_field(frame, hidden), spots)
    if place is None:
        return ""
    return (
        f"the ball or the background around it reaches the shutter at row {place[0]}, column "
        f"{place[1]}; choose a frame where it lies farther inside"
    )


def _oval(patch: _Patch, vector: FloatArray, noise: float) -> tuple[float, float]:
    """Return by how much the diameter differs between directions, relative, and its uncertainty.

    The misfit left is explained by a diameter that goes round as cos 2φ and sin 2φ, to first order.
    """
    step = np.array([0.01, 0.0, 0.0, 0.0, 0.0])
    weights = _weights(patch, vector)[1]
    slope = (_basis(patch, vector + step) - _basis(patch, vector - step)) @ weights / 0.02
    turn = 2 * np.arctan2(patch.row - vector[1], patch.column - vector[2])
    basis = np.concatenate(
        [
            np.stack([slope * np.cos(turn), slope * np.sin(turn), slope], axis=1),
            _basis(patch, vector),
        ],
        axis=1,
    )
    left = patch.value - _weights(patch, vector)[0]
    inverse = np.linalg.pinv(basis.T @ basis)
    found = inverse @ basis.T @ left
    # what lies behind pulls neighbouring pixels alike: sectors scatter by more than white noise
    pulls = basis * (left - basis @ found)[:, None]
    pulls = np.stack([pulls[patch.sector == one].sum(axis=0) for one in np.unique(patch.sector)])
    covariance = np.maximum(noise**2 * inverse, inverse @ (pulls.T @ pulls) @ inverse)
    u = float(np.sqrt((covariance[0, 0] + covariance[1, 1]) / 2))
    return 2 * float(np.hypot(*found[:2])), 2 * u


def _strayed(vector: FloatArray, centre: PixelPoint, radius_px: float) -> str:
    """Return how far a fit ran off from the ball that a person marked, empty if it stayed."""
    diameter = float(np.exp(vector[0]))
    ratio = diameter / (2 * radius_px)
    moved = float(np.hypot(vector[1] - centre.row, vector[2] - centre.column))
    if 1 / FARTHEST_RATIO <= ratio <= FARTHEST_RATIO and moved <= max(0.6 * radius_px, 3.0):
        return ""
    return (
        f"the ball fitted ({diameter:.0f} px wide at row {vector[1]:.0f}, column {vector[2]:.0f}) "
        f"is not the one marked ({2 * radius_px:.0f} px wide at row {centre.row:.0f}, column "
        f"{centre.column:.0f}): mark its edge more closely"
    )


def _explained(patch: _Patch, vector: FloatArray) -> float:
    """Return by which factor the ball makes a bent background's misfit smaller."""
    row = (patch.row - vector[1]) / patch.reach
    column = (patch.column - vector[2]) / patch.reach
    flat = np.ones_like(row)
    bent = np.stack([flat, row, column, row**2, row * column, column**2], axis=1)
    weights = np.linalg.lstsq(bent, patch.value, rcond=None)[0]
    with_ball = _weights(patch, vector)[0] - patch.value
    return float(np.std(bent @ weights - patch.value) / np.std(with_ball))


def _cut(frame: NDArray[np.generic], centre: PixelPoint, radius_px: float) -> _Patch | NoScale:
    if not 2 <= radius_px < np.inf:
        return NoScale(reason=f"a ball's radius is at least 2 px and finite, not {radius_px:g} px")
    if not np.all(np.isfinite(centre)):
        return NoScale(reason="the ball's centre is not two finite numbers")
    reach = 1.8 * radius_px + 4.0
    rows, columns = frame.shape
    top, left = int(np.ceil(centre.row - reach)), int(np.ceil(centre.column - reach))
    bottom, right = int(centre.row + reach), int(centre.column + reach)
    if top < 0 or left < 0 or bottom >= rows or right >= columns:
        return NoScale(
            reason=(
                f"the ball at row {centre.row:g}, column {centre.column:g} or the background "
                "around it leaves the image; choose a frame where it lies farther inside"
            )
        )
    row, column = np.mgrid[top : bottom + 1, left : right + 1].astype(float)
    inside = np.hypot(row - centre.row, column - centre.column) <= reach
    row, column = row[inside], column[inside]
    angle = np.arctan2(row - centre.row, column - centre.column)
    value = np.asarray(frame, dtype=float)[row.astype(int), column.astype(int)]
    return _Patch(
        row=row,
        column=column,
        value=value / max(float(np.median(value)), 1e-9),
        sector=np.floor((angle + np.pi) / (2 * np.pi) * SECTORS).astype(int) % SECTORS,
        reach=reach,
    )


def _basis(patch: _Patch, vector: FloatArray) -> FloatArray:
    shadow = BallShadow(
        diameter_px=float(np.exp(vector[0])),
        blur_px=float(np.exp(vector[3])),
        depth=float(np.exp(vector[4])),
    )
    row, column = patch.row - vector[1], patch.column - vector[2]
    absorbed = shadow.absorbed(np.hypot(row, column))
    flat, down, right = np.ones_like(absorbed), row / patch.reach, column / patch.reach
    # without its second degree, a rib or a diaphragm behind makes the ball look oval
    bent = (down**2, down * right, right**2)
    return np.stack([flat, down, right, -absorbed, *bent], axis=1)


def _weights(patch: _Patch, vector: FloatArray) -> tuple[FloatArray, FloatArray]:
    basis = _basis(patch, vector)
    weights = np.asarray(np.linalg.lstsq(basis, patch.value, rcond=None)[0], dtype=np.float64)
    return basis @ weights, weights


def _residuals(vector: FloatArray, patch: _Patch, noise: float) -> FloatArray:
    model, weights = _weights(patch, vector)
    share = (abs(weights[3]) / max(weights[0], 1e-9) - PRIMARY_SHARE.value) / PRIMARY_SHARE_U.value
    return np.append((model - patch.value) / noise, share)


def _solve(
    patch: _Patch, start: FloatArray, *, noise: float = 0.02, turns: int = 2
) -> tuple[FloatArray, float, FloatArray]:
    """Return unknowns, noise and their covariance; the noise is found again in each turn."""
    from scipy.optimize import least_squares

    reach = patch.reach
    low = np.array([np.log(3.0), start[1] - reach / 2, start[2] - reach / 2, np.log(0.3), -6.0])
    high = np.array([np.log(1.9 * reach), start[1] + reach / 2, start[2] + reach / 2, 2.1, 3.5])
    vector = np.clip(start, low + 1e-6, high - 1e-6)
    for _ in range(turns):
        answer = least_squares(
            _residuals,
            np.clip(vector, low + 1e-6, high - 1e-6),
            args=(patch, noise),
            bounds=(low, high),
            x_scale=np.array([0.1, 1.0, 1.0, 0.3, 0.5]),
            diff_step=1e-4,
            ftol=1e-6,
            max_nfev=25,
        )
        vector = answer.x
        misfit = _weights(patch, vector)[0] - patch.value
        noise = max(float(np.sqrt(np.mean(misfit**2))), 1e-6)
    return vector, noise, np.linalg.pinv(answer.jac.T @ answer.jac)


def _contrast(patch: _Patch, vector: FloatArray) -> float:
    """Depth of the fitted shadow in units of the background."""
    _, weights = _weights(patch, vector)
    return abs(float(weights[3])) * float(-np.min(_basis(patch, vector)[:, 3]))


def _fault(
    frame: NDArray[np.generic],
    patch: _Patch,
    vector: FloatArray,
    *,
    noise: float,
    full_scale: float | None,
) -> str:
    """Return why a fit must not be used, empty when it may."""
    diameter, rows, columns = float(np.exp(vector[0])), *frame.shape
    top, left = vector[1] - diameter / 2, vector[2] - diameter / 2
    if top < 0 or left < 0 or top + diameter > rows - 1 or left + diameter > columns - 1:
        return "the ball is cut by the image's border"
    contrast = _contrast(patch, vector) / noise
    if contrast < MIN_CONTRAST_TO_NOISE:
        return f"the ball's contrast is {contrast:.1f} times the noise; at least 2 is needed"
    if _explained(patch, vector) < LEAST_EXPLAINED:
        return "no ball stands out from the background there; mark its centre and edge again"
    # beside the ball too: a background cut off at the top takes the blurred edge with it
    stored = np.asarray(frame)[patch.row.astype(int), patch.column.astype(int)]
    saturated = (stored <= 0) | (stored >= (full_scale or np.inf))
    if float(np.mean(saturated)) > MAX_SATURATED_SHARE:
        return "the picture is saturated on or beside the ball; choose another frame"
    return ""
