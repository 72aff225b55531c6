"""A square lattice through the nodes of a grid: both pixel pitches, rotation, what is left over."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from annot.calibration.grid_nodes import GridMake, find_nodes, homography, projected
from annot.calibration.scale import NoScale
from annot.geometry import PixelPoint

FloatArray = NDArray[np.float64]
LEAST_NODES_SHARE = 0.6
BLOCKS = 3  # by 3 blocks of the grid, each left out in turn: what bends slowly is no node's noise


@dataclass(frozen=True, slots=True, kw_only=True)
class GridNode:
    """One node: its place in the lattice, where it was seen, and by how much that is off.

    `step` counts spacings from the first corner towards the second and towards the fourth.
    """

    step: tuple[int, int]
    place: PixelPoint
    off_row_px: float
    off_column_px: float


@dataclass(frozen=True, slots=True, kw_only=True)
class GridFit:
    """What was found.

    Attributes
    ----------
    pitch_row_px, pitch_column_px : float
        Pixels along a column (from row to row) and along a row that one spacing spans.
    u_pitch_row_px, u_pitch_column_px : float
        The larger one of the fit's own and of what leaving out ninths of the grid shows.
    rotation_deg, u_rotation_deg : float
        Turn of the lattice's first direction from the rows downwards, towards the columns.
    keystone, u_keystone : (float, float)
        Change of the picture's size per spacing, relative, along both directions: a grid that lies
        square to the beam has none.
    nodes : tuple of GridNode
    missing : tuple of (int, int)
    rms_px, largest_px : float
        Of the nodes' distances from the lattice: the distortion, and the noise of the nodes.
    """

    make: GridMake
    pitch_row_px: float
    pitch_column_px: float
    u_pitch_row_px: float
    u_pitch_column_px: float
    rotation_deg: float
    u_rotation_deg: float
    keystone: tuple[float, float]
    u_keystone: tuple[float, float]
    dof: float
    nodes: tuple[GridNode, ...]
    missing: tuple[tuple[int, int], ...]
    size: tuple[int, int]
    rms_px: float
    largest_px: float


def fit_grid(frame: NDArray[np.generic], corners: tuple[PixelPoint, ...]) -> GridFit | NoScale:
    """Find a grid of square cells between four rough corners and fit a lattice to it.

    Parameters
    ----------
    frame : array, shape (rows, columns)
        Stored pixels, larger where more of the beam arrives.
    corners : four PixelPoint, in turn around the grid

    Returns
    -------
    GridFit, or NoScale with the reason.
    """
    found = find_nodes(frame, corners)
    if isinstance(found, NoScale):
        return found
    whole = found.size[0] * found.size[1]
    if len(found.step) < LEAST_NODES_SHARE * whole:
        return NoScale(
            reason=(
                f"only {len(found.step)} of the grid's {whole} nodes were found; mark the corners "
                "of a part that is seen whole"
            )
        )
    step = found.step.astype(float)
    lattice = _lattice(step, found.place)
    off = found.place - _model(lattice.vector, step, lattice.hand)
    left_out = _left_out(step, found.place, found.size, lattice)
    spread = np.sqrt(np.maximum(np.diag(lattice.covariance), np.diag(left_out)))
    keystone, u_keystone = _keystone(step, found.place)
    distance = np.hypot(*off.T)
    return GridFit(
        make=found.make,
        pitch_row_px=float(lattice.vector[2]),
        pitch_column_px=float(lattice.vector[3]),
        u_pitch_row_px=float(spread[2]),
        u_pitch_column_px=float(spread[3]),
        rotation_deg=float(np.rad2deg(lattice.vector[4])),
        u_rotation_deg=float(np.rad2deg(spread[4])),
        keystone=keystone,
        u_keystone=u_keystone,
        dof=BLOCKS**2 - 1.0,
        nodes=tuple(
            GridNode(
                step=(int(one[0]), int(one[1])),
                place=PixelPoint(float(place[0]), float(place[1])),
                off_row_px=float(miss[0]),
                off_column_px=float(miss[1]),
            )
            for one, place, miss in zip(found.step, found.place, off, strict=True)
        ),
        missing=found.missing,
        size=found.size,
        rms_px=float(np.sqrt(np.mean(distance**2))),
        largest_px=float(distance.max()),
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class _Lattice:
    """First node (row, column), pitch along rows and columns in px, rotation in rad."""

    vector: FloatArray
    covariance: FloatArray
    hand: float


def _model(vector: FloatArray, step: FloatArray, hand: float) -> FloatArray:
    """Return the nodes of a square lattice seen with pixels of two pitches."""
    row, column, down, right, turn = vector
    first = step[:, 0] * np.cos(turn) - hand * step[:, 1] * np.sin(turn)
    second = step[:, 0] * np.sin(turn) + hand * step[:, 1] * np.cos(turn)
    return np.stack([row + down * first, column + right * second], axis=1)


def _lattice(step: FloatArray, place: FloatArray) -> _Lattice:
    """Fit by least squares, starting from the plain affine map."""
    from scipy.optimize import least_squares

    affine = np.linalg.lstsq(np.column_stack([np.ones(len(step)), step]), place, rcond=None)[0]
    one, two = affine[1], affine[2]
    hand = float(np.sign(one[0] * two[1] - one[1] * two[0]))
    pitch = np.hypot(one, two)  # cos² + sin² of the turn add up within each pixel direction
    turn = np.arctan2(one[1] / pitch[1], one[0] / pitch[0])
    answer = least_squares(
        lambda vector: (_model(vector, step, hand) - place).ravel(),
        np.array([*affine[0], *pitch, turn]),
        x_scale=np.array([1.0, 1.0, 1.0, 1.0, 0.01]),
    )
    variance = float(np.sum(answer.fun**2)) / max(2 * len(step) - 5, 1)
    return _Lattice(
        vector=np.asarray(answer.x),
        covariance=np.asarray(variance * np.linalg.pinv(answer.jac.T @ answer.jac)),
        hand=hand,
    )


def _left_out(
    step: FloatArray, place: FloatArray, size: tuple[int, int], lattice: _Lattice
) -> FloatArray:
    """Return the covariance that a delete-a-block jackknife gives the lattice's unknowns."""
    block = np.minimum((step * BLOCKS / np.array(size)).astype(int), BLOCKS - 1) @ [BLOCKS, 1]
    others = [_lattice(step[block != one], place[block != one]).vector for one in np.unique(block)]
    away = np.array(others) - lattice.vector
    return np.asarray((len(others) - 1) / len(others) * away.T @ away)


def _keystone(
    step: FloatArray, place: FloatArray
) -> tuple[tuple[float, float], tuple[float, float]]:
    """Return the change of size per spacing along both directions, from a projective fit.

    Seen from a point, what lies nearer looks larger: x = (a + b·s)/(1 − c·s), and c is the change
    of depth per spacing over the distance from the source.
    """
    from scipy.optimize import least_squares

    middle = step - step.mean(axis=0)
    start = homography(middle, place)

    def miss(vector: FloatArray) -> FloatArray:
        return (projected(np.append(vector, 1.0).reshape(3, 3), middle) - place).ravel()

    answer = least_squares(miss, start.ravel()[:8], x_scale="jac")
    variance = float(np.sum(answer.fun**2)) / max(2 * len(step) - 8, 1)
    spread = np.sqrt(variance * np.diag(np.linalg.pinv(answer.jac.T @ answer.jac)))
    return (
        (-float(answer.x[6]), -float(answer.x[7])),
        (float(spread[6]), float(spread[7])),
    )
