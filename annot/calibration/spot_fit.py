"""The centre of a small dark spot to a fraction of a pixel: a marker band, a bead, two wires.

Only the centre is wanted, so the shape need not be the object's own, only as symmetric as it is:
blurred boxes in the logarithm of the intensity, where shadow and background add up instead of
multiplying. A sloping background would otherwise pull the centre towards its bright side.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from annot.geometry import PixelPoint

FloatArray = NDArray[np.float64]
# Weak knowledge that keeps a shape physical where the picture says little: standard deviations of
# the logarithm of length and width about the guess, and of blur about 1.2 px.
SIZE_SPREAD, BLUR_SPREAD, USUAL_BLUR_PX = 0.5, 0.4, 1.2
CLUMP_PX = 5  # side of the areas over which a misfit of other structures is told from noise


@dataclass(frozen=True, slots=True, kw_only=True)
class SpotShape:
    """A spot's extent along the first and the second axis and the blur of its edges, in pixels."""

    length_px: float
    width_px: float
    blur_px: float = USUAL_BLUR_PX


@dataclass(frozen=True, slots=True, kw_only=True)
class SpotSite:
    """Where a spot is looked for, and what passes beneath it.

    Attributes
    ----------
    centre : PixelPoint
        First guess.
    first, second : (float, float)
        Unit directions (row, column) of the spot's axes; they need not be square to each other.
    wires : (bool, bool)
        Whether a wire's shadow runs through the patch along the first and the second axis.
    reach_px : float
        Half-side of the patch that is fitted.
    """

    centre: PixelPoint
    first: tuple[float, float]
    second: tuple[float, float]
    wires: tuple[bool, bool]
    reach_px: float


@dataclass(frozen=True, slots=True, kw_only=True)
class SpotFit:
    """What was found; `u_px` is the standard uncertainty of either coordinate, the larger one.

    `depth` is the spot's peak in the logarithm of the intensity, positive for dark; where two wires
    cross it is the fainter wire's, since there their shadows add up and no spot is left over.
    """

    centre: PixelPoint
    u_px: float
    shape: SpotShape
    depth: float
    depth_to_noise: float


def fit_spot(
    frame: NDArray[np.generic], site: SpotSite, shape: SpotShape, *, shape_is_known: bool = False
) -> SpotFit | None:
    """Fit one spot near a first guess.

    Parameters
    ----------
    frame : array, shape (rows, columns)
        Stored pixels, larger where more of the beam arrives.
    shape : SpotShape
        A guess, or with `shape_is_known` what the spot's neighbours have shown.

    Returns
    -------
    SpotFit, or None where the patch leaves the image or no spot stands out from its noise.
    """
    patch = _patch(frame, site)
    if patch is None:
        return None
    guess = np.log([shape.length_px, shape.width_px, shape.blur_px])
    vector, noise, covariance = _solve(patch, guess, shape_is_known=shape_is_known)
    basis = _basis(patch, vector, guess)
    weights = _weights(basis, patch.value)
    depth = _depth(weights, site.wires)
    if depth <= 0 or not np.all(np.isfinite(covariance)):
        return None
    sizes = np.exp(vector[2:] if len(vector) > 2 else guess)
    return SpotFit(
        centre=PixelPoint(
            float(site.centre.row + vector[0]), float(site.centre.column + vector[1])
        ),
        u_px=float(np.sqrt(np.max(np.diag(covariance)[:2]))),
        shape=SpotShape(
            length_px=float(sizes[0]), width_px=float(sizes[1]), blur_px=float(sizes[2])
        ),
        depth=depth,
        depth_to_noise=depth / noise,
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class _Patch:
    """Logarithms of the pixels about a site, with each pixel's distance across both axes."""

    value: FloatArray
    across: FloatArray  # shape (2, n): beyond the second axis's line, beyond the first's
    normal: FloatArray  # shape (2, 2): how both change with row and column
    wires: tuple[bool, bool]
    plain: FloatArray  # shape (n, 6): a background of second degree
    shape: tuple[int, int]


def _patch(frame: NDArray[np.generic], site: SpotSite) -> _Patch | None:
    reach = site.reach_px
    top, left = int(np.ceil(site.centre.row - reach)), int(np.ceil(site.centre.column - reach))
    bottom, right = int(site.centre.row + reach), int(site.centre.column + reach)
    if top < 0 or left < 0 or bottom >= frame.shape[0] or right >= frame.shape[1]:
        return None
    row, column = (axis.ravel() for axis in np.mgrid[top : bottom + 1, left : right + 1])
    away = np.stack([row - site.centre.row, column - site.centre.column])
    first, second = np.array(site.first), np.array(site.second)
    normal = np.array([[second[1], -second[0]], [-first[1], first[0]]])
    normal *= np.sign([[normal[0] @ first], [normal[1] @ second]])
    # half a count keeps a black pixel's logarithm finite
    value = np.log(np.maximum(np.asarray(frame[row, column], dtype=float), 0.5))
    y, x = away / reach
    return _Patch(
        value=value - float(np.median(value)),
        across=normal @ away,
        normal=normal,
        wires=site.wires,
        shape=(bottom - top + 1, right - left + 1),
        plain=np.stack([np.ones_like(y), y, x, y * y, x * y, x * x], axis=1),
    )


def _depth(weights: FloatArray, wires: tuple[bool, bool]) -> float:
    return float(np.min(-weights[-3:-1])) if all(wires) else -float(weights[-1])


def _box(offset: FloatArray, width: float, blur: float) -> FloatArray:
    """Return a box of that width blurred by a Gaussian, 1 where it is at its deepest."""
    from scipy.special import ndtr

    shape = ndtr((offset + width / 2) / blur) - ndtr((offset - width / 2) / blur)
    return np.asarray(shape / (2 * ndtr(width / 2 / blur) - 1))


def _basis(patch: _Patch, vector: FloatArray, guess: FloatArray) -> FloatArray:
    """Return background, wires and spot as columns; all but centre and sizes is linear."""
    length, width, blur = np.exp(np.clip(vector[2:] if len(vector) > 2 else guess, -2.0, 4.0))
    moved = patch.normal @ vector[:2]
    along = _box(patch.across[0] - moved[0], float(length), float(blur))
    beside = _box(patch.across[1] - moved[1], float(width), float(blur))
    columns = [patch.plain]
    columns += [
        wire[:, None] for wire, runs in zip((beside, along), patch.wires, strict=True) if runs
    ]
    return np.concatenate([*columns, (along * beside)[:, None]], axis=1)


def _weights(basis: FloatArray, value: FloatArray) -> FloatArray:
    """Solve the linear part; the whisper of a ridge keeps columns that coincide apart."""
    normal = basis.T @ basis
    normal.flat[:: len(normal) + 1] += 1e-10 * float(np.trace(normal))
    return np.asarray(np.linalg.solve(normal, basis.T @ value), dtype=np.float64)


def _misfit(vector: FloatArray, patch: _Patch, guess: FloatArray, noise: float) -> FloatArray:
    basis = _basis(patch, vector, guess)
    weights = _weights(basis, patch.value)
    misfit = (basis @ weights - patch.value) / noise
    if len(vector) == 2:
        return np.asarray(misfit)
    usual = np.append(guess[:2], np.log(USUAL_BLUR_PX))
    known = (vector[2:] - usual) / np.array([SIZE_SPREAD, SIZE_SPREAD, BLUR_SPREAD])
    return np.append(misfit, known)


def _solve(
    patch: _Patch, guess: FloatArray, *, shape_is_known: bool
) -> tuple[FloatArray, float, FloatArray]:
    """Return centre (and shape), noise, and their covariance."""
    from scipy.optimize import least_squares

    vector = np.zeros(2) if shape_is_known else np.append(np.zeros(2), guess)
    before = _noise(vector, patch, guess)
    answer = least_squares(
        _misfit,
        vector,
        args=(patch, guess, before),
        method="lm",  # without bounds: what is known keeps sizes near, and strays are dropped
        diff_step=1e-4,
        x_scale=np.append([1.0, 1.0], [] if shape_is_known else [0.3, 0.3, 0.3]),
        ftol=1e-5,
        xtol=1e-5,
        max_nfev=200,
    )
    noise = _noise(answer.x, patch, guess)
    misfit = _misfit(answer.x, patch, guess, noise)[: len(patch.value)].reshape(patch.shape)
    covariance = np.linalg.pinv(answer.jac.T @ answer.jac) * (noise / before) ** 2
    covariance *= _clumping(misfit)
    return np.asarray(answer.x), noise, np.asarray(covariance)


def _clumping(misfit: FloatArray) -> float:
    """Return by how much more a misfit varies over areas than independent pixels would.

    What is left of other structures is no noise of single pixels: it pulls the centre as a whole.
    """
    from scipy.ndimage import uniform_filter

    area = uniform_filter(misfit, CLUMP_PX, mode="reflect")
    return max(1.0, float(np.mean(area**2)) * CLUMP_PX**2)


def _noise(vector: FloatArray, patch: _Patch, guess: FloatArray) -> float:
    """Return the scatter of the pixels about the model with these unknowns."""
    misfit = _misfit(vector, patch, guess, 1.0)[: len(patch.value)]
    freedom = len(misfit) - patch.plain.shape[1] - len(vector) - sum(patch.wires) - 1
    return max(float(np.sqrt(np.sum(misfit**2) / max(freedom, 1))), 1e-6)
