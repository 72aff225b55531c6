"""How even a picture's scale is: the local spacing of a grid, block by block, against its mean."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from annot.errors import InputError

FloatArray = NDArray[np.float64]
BLOCKS = 3


@dataclass(frozen=True, slots=True, kw_only=True)
class ScaleMap:
    """Local scale over the field.

    Attributes
    ----------
    place_px : array, shape (n, 2)
        Middle (row, column) of each block.
    percent, u_percent : array, shape (n,)
        By how much a pixel is worth more mm there than on average, with standard uncertainty.
    largest, u_largest : float
        The largest deviation, either way, freed of most of what noise adds, and its standard
        uncertainty.
    """

    place_px: FloatArray
    percent: FloatArray
    u_percent: FloatArray
    largest: float
    u_largest: float


def scale_map(step: ArrayLike, place_px: ArrayLike, pitch_px: tuple[float, float]) -> ScaleMap:
    """Return the map of a grid's local scale.

    Parameters
    ----------
    step : array_like, shape (n, 2)
        Whole steps of each node along both directions.
    place_px : array_like, shape (n, 2)
        (row, column) of each node.
    pitch_px : (float, float)
        Pixels of one spacing along rows and columns, as a lattice over the whole grid has them.

    In each of 3 × 3 blocks an affine map is fitted; the root of its determinant over the pitches'
    is the local magnification, and the misfit tells its uncertainty.

    Raises
    ------
    InputError
        If the grid is too small for blocks of four nodes or more.
    """
    steps, places = np.asarray(step, dtype=float), np.asarray(place_px, dtype=float)
    size = steps.max(axis=0) + 1
    block = np.minimum((steps * BLOCKS / size).astype(int), BLOCKS - 1) @ [BLOCKS, 1]
    found = [
        _block(steps[block == one], places[block == one], pitch_px)
        for one in np.unique(block)
        if np.count_nonzero(block == one) >= 4
    ]
    if len(found) < 4:
        raise InputError("The grid is too small for a map of its scale: 6 by 6 nodes are needed.")
    # what the blocks' own maps leave over is the nodes' noise, and what bends within a block
    pooled = np.sqrt(sum(one[3] for one in found) / max(sum(one[4] for one in found), 1))
    place = np.array([one[0] for one in found])
    percent = np.array([one[1] for one in found])
    u = np.array([one[2] * pooled for one in found])
    worst = int(np.argmax(np.abs(percent)))
    return ScaleMap(
        place_px=place,
        percent=percent,
        u_percent=u,
        largest=float(np.sqrt(max(percent[worst] ** 2 - u[worst] ** 2, 0.0))),
        u_largest=float(u[worst]),
    )


def _block(
    steps: FloatArray, places: FloatArray, pitch_px: tuple[float, float]
) -> tuple[FloatArray, float, float, float, int]:
    """Return middle, deviation in %, its u per px of a node's noise, misfit² and its freedom."""
    basis = np.column_stack([np.ones(len(steps)), steps])
    fit = np.linalg.lstsq(basis, places, rcond=None)[0]
    pitch = float(np.sqrt(pitch_px[0] * pitch_px[1]))
    # larger in pixels is worth fewer mm each
    percent = 100 * (float(np.sqrt(abs(np.linalg.det(fit[1:])))) / pitch) ** -1 - 100
    spread = np.diag(np.linalg.pinv(basis.T @ basis))
    # the determinant changes by what either step changes along itself
    relative = 0.5 * float(np.sqrt(spread[1] + spread[2])) / pitch
    misfit = float(np.sum((places - basis @ fit) ** 2))
    return places.mean(axis=0), percent, 100 * relative, misfit, max(2 * (len(steps) - 3), 0)
