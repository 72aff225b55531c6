"""The nodes of a grid of wires or beads between four rough corners, to a fraction of a pixel."""

from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from annot.calibration.scale import NoScale
from annot.calibration.spot_fit import SpotFit, SpotShape, SpotSite, fit_spot
from annot.geometry import PixelPoint

FloatArray = NDArray[np.float64]
GridMake = Literal["wires", "beads"]
MARGIN_PX = 8.0  # how far a corner may lie off its node
LEAST_CELL_PX = 8.0
MOST_REACH_PX = 11.0
WIRE_SHARE = 0.25  # of a node's darkness halfway to its neighbour: more, and wires run there
LEAST_DEPTH_TO_NOISE = 3.0
FARTHEST_MOVE = 0.25  # of a cell, from the rough place to the fitted one


@dataclass(frozen=True, slots=True, kw_only=True)
class GridNodes:
    """Nodes that were found.

    Attributes
    ----------
    step : array of int, shape (n, 2)
        Spacings from the first corner towards the second and towards the fourth.
    place : array, shape (n, 2)
        (row, column) of each.
    u_px : array, shape (n,)
        Standard uncertainty of either coordinate.
    size : (int, int)
        Nodes along both sides, missing ones included.
    missing : tuple of (int, int)
        Steps at which no node was found.
    """

    make: GridMake
    step: NDArray[np.intp]
    place: FloatArray
    u_px: FloatArray
    size: tuple[int, int]
    missing: tuple[tuple[int, int], ...]


def find_nodes(frame: NDArray[np.generic], corners: tuple[PixelPoint, ...]) -> GridNodes | NoScale:
    """Find the nodes of a regular grid.

    Parameters
    ----------
    frame : array, shape (rows, columns)
        Stored pixels, larger where more of the beam arrives; beads and wires are dark.
    corners : four PixelPoint, in turn around the grid
        Outermost nodes, within `MARGIN_PX`.

    Returns
    -------
    GridNodes, or NoScale with the reason.
    """
    fault = _fault_of_corners(frame, corners)
    if fault:
        return NoScale(reason=fault)
    pixels = np.asarray(frame, dtype=np.float64)
    dark = _darkness(pixels)
    quad = _Quad(np.array(corners))
    counts = tuple(_cells(dark, quad, side) for side in (0, 1))
    if min(counts) < 2:
        return NoScale(
            reason=(
                "no regular grid of at least 3 by 3 nodes was found between the corners: mark the "
                "four outermost nodes, in turn around the grid"
            )
        )
    step = np.stack(np.meshgrid(*(np.arange(n + 1) for n in counts), indexing="ij"), -1)
    step = step.reshape(-1, 2)
    rough = _settled(dark, quad.at(step / counts), step, cell_px=quad.cell_px(counts))
    make = _make(dark, rough, step)
    return _fitted(pixels, step, rough, make=make, counts=counts)


class _Quad:
    """The corners as a projective map of the unit square to (row, column)."""

    def __init__(self, corners: FloatArray) -> None:
        unit = np.array([[0.0, 0.0], [1.0, 0.0], [1.0, 1.0], [0.0, 1.0]])
        self.corners, self.matrix = corners, homography(unit, corners)

    def at(self, unit: FloatArray) -> FloatArray:
        """Return places, shape (n, 2), of unit coordinates."""
        return projected(self.matrix, unit)

    def side_px(self, side: int) -> float:
        """Return the mean length of the two sides along the first or second direction."""
        one, two = ((0, 1), (3, 2)) if side == 0 else ((0, 3), (1, 2))
        return float(
            np.mean([np.hypot(*(self.corners[b] - self.corners[a])) for a, b in (one, two)])
        )

    def cell_px(self, counts: tuple[int, ...]) -> float:
        """Return the smaller side of a cell."""
        return min(self.side_px(side) / counts[side] for side in (0, 1))


def homography(source: FloatArray, target: FloatArray) -> FloatArray:
    """Return the 3 × 3 projective map that takes points to points, least squares of the algebra.

    Parameters
    ----------
    source, target : array, shape (n, 2), n >= 4
    """
    # centred and scaled points keep the algebra well conditioned
    frames = []
    for points in (source, target):
        middle, spread = points.mean(axis=0), float(np.std(points)) or 1.0
        frames.append(np.array([[1, 0, -middle[0]], [0, 1, -middle[1]], [0, 0, spread]]) / spread)
    plain = [projected(one, points) for one, points in zip(frames, (source, target), strict=True)]
    (x, y), (u, v) = plain[0].T, plain[1].T
    one, none = np.ones_like(x), np.zeros_like(x)
    upper = np.stack([x, y, one, none, none, none, -u * x, -u * y, -u], axis=1)
    lower = np.stack([none, none, none, x, y, one, -v * x, -v * y, -v], axis=1)
    matrix = np.linalg.svd(np.concatenate([upper, lower]))[2][-1].reshape(3, 3)
    whole = np.linalg.inv(frames[1]) @ matrix @ frames[0]
    return np.asarray(whole / whole[2, 2])


def projected(matrix: FloatArray, points: FloatArray) -> FloatArray:
    """Return points, shape (n, 2), taken through a projective map."""
    whole = np.concatenate([points, np.ones((len(points), 1))], axis=1) @ matrix.T
    return np.asarray(whole[:, :2] / whole[:, 2:])


def _fault_of_corners(frame: NDArray[np.generic], corners: tuple[PixelPoint, ...]) -> str:
    rows, columns = frame.shape
    if len(corners) != 4:
        return f"a grid needs its four corners, not {len(corners)}"
    if any(not corner.is_inside(rows, columns) for corner in corners):
        return "a corner of the grid lies off the image"
    path = np.array(corners)
    edges = np.roll(path, -1, axis=0) - path
    turn = edges[:, 0] * np.roll(edges[:, 1], -1) - edges[:, 1] * np.roll(edges[:, 0], -1)
    if not (np.all(turn > 0) or np.all(turn < 0)):
        return "the corners do not go round the grid: name them in turn, none across"
    if np.min(np.hypot(*edges.T)) < 2 * LEAST_CELL_PX:
        return f"a side of the grid is shorter than {2 * LEAST_CELL_PX:g} px"
    return ""


def _darkness(frame: FloatArray) -> FloatArray:
    """Return how much darker each pixel is than its wider surroundings, in logarithms."""
    from scipy.ndimage import gaussian_filter

    dark = -np.log(np.maximum(frame, 0.5))
    return np.asarray(gaussian_filter(dark, 1.2) - gaussian_filter(dark, 12.0))


def _sampled(image: FloatArray, places: FloatArray) -> FloatArray:
    from scipy.ndimage import map_coordinates

    return np.asarray(map_coordinates(image, places.T, order=1, mode="nearest"))


def _cells(dark: FloatArray, quad: _Quad, side: int) -> int:
    """Return how many cells lie along a side: the finest comb whose teeth are all dark.

    The profile along the side is the mean over the whole grid across it; half as many teeth miss
    what lies between them, twice as many fall on bright gaps.
    """
    length, width = quad.side_px(side), quad.side_px(1 - side)
    forward = np.arange(-MARGIN_PX, length + MARGIN_PX + 0.5) / length
    across = np.linspace(0.0, 1.0, int(width))
    unit = np.stack(np.meshgrid(forward, across, indexing="ij"), -1).reshape(-1, 2)
    places = quad.at(unit if side == 0 else unit[:, ::-1])
    profile = _sampled(dark, places).reshape(len(forward), -1).mean(axis=1)
    scores = [_comb(profile, length, count) for count in range(1, int(length // LEAST_CELL_PX) + 1)]
    best = max(scores)
    return max(n + 1 for n, score in enumerate(scores) if score >= 0.7 * best) if best > 0 else 0


def _comb(profile: FloatArray, length: float, count: int) -> float:
    """Return how much darker the teeth of a comb are than the middles of its gaps."""
    cell = length / count
    reach = int(min(MARGIN_PX, 0.2 * cell))
    tooth = np.round(MARGIN_PX + cell * np.arange(count + 1)).astype(int)
    middle = np.round(MARGIN_PX + cell * (np.arange(count) + 0.5)).astype(int)
    near = np.arange(-reach, reach + 1)
    picked = [
        profile[np.clip(spots[:, None] + near, 0, len(profile) - 1)].max(axis=1)
        for spots in (tooth, middle)
    ]
    return float(picked[0].mean() - picked[1].mean())


def _settled(
    dark: FloatArray, places: FloatArray, step: NDArray[np.intp], *, cell_px: float
) -> FloatArray:
    """Move rough nodes to the darkest spot near them, then onto one common projective grid.

    The median miss tells which spots are nodes: a few missing ones must not bend the grid.
    """
    reach = int(min(MARGIN_PX, 0.3 * cell_px))
    near = np.mgrid[-reach : reach + 1, -reach : reach + 1].reshape(2, -1).T
    for _ in range(2):
        values = _sampled(dark, (places[:, None, :] + near).reshape(-1, 2))
        darkest = np.argmax(values.reshape(len(places), -1), axis=1)
        found = places + near[darkest]
        kept = np.ones(len(step), dtype=bool)
        for _ in range(4):
            matrix = homography(step[kept].astype(float), found[kept])
            places = projected(matrix, step.astype(float))
            miss = np.hypot(*(found - places).T)
            kept = miss <= max(1.5, 3.0 * float(np.median(miss)))
    return places


def _make(dark: FloatArray, places: FloatArray, step: NDArray[np.intp]) -> GridMake:
    """Tell wires from beads by what lies halfway between neighbours."""
    matrix = homography(step.astype(float), places)

    def darkness(shift: tuple[float, float]) -> float:
        inner = step[np.all(step < step.max(axis=0), axis=1)].astype(float)
        return float(np.median(_sampled(dark, projected(matrix, inner + shift))))

    cell = darkness((0.5, 0.5))
    edge = 0.5 * (darkness((0.5, 0.0)) + darkness((0.0, 0.5)))
    return "wires" if edge - cell > WIRE_SHARE * (darkness((0.0, 0.0)) - cell) else "beads"


def _fitted(
    frame: FloatArray,
    step: NDArray[np.intp],
    rough: FloatArray,
    *,
    make: GridMake,
    counts: tuple[int, ...],
) -> GridNodes | NoScale:
    """Fit every node; what does not stand out or strays is missing."""
    matrix = homography(step.astype(float), rough)
    first, second = (
        projected(matrix, step + shift) - projected(matrix, step - shift)
        for shift in (np.array([0.5, 0.0]), np.array([0.0, 0.5]))
    )
    cell = float(min(np.median(np.hypot(*first.T)), np.median(np.hypot(*second.T))))
    sites = [
        SpotSite(
            centre=PixelPoint(float(place[0]), float(place[1])),
            first=tuple(one / np.hypot(*one)),
            second=tuple(two / np.hypot(*two)),
            wires=(make == "wires",) * 2,
            reach_px=min(MOST_REACH_PX, 0.45 * cell),
        )
        for place, one, two in zip(rough, first, second, strict=True)
    ]
    shape = _usual_shape(frame, sites)
    if shape is None:
        return NoScale(reason="no node of the grid stands out from the picture's noise")
    spots = [fit_spot(frame, site, shape, shape_is_known=True) for site in sites]
    usual = float(np.median([spot.depth for spot in spots if spot] or [np.inf]))
    found = {
        index: spot
        for index, (spot, place) in enumerate(zip(spots, rough, strict=True))
        if spot and _is_node(spot, place, usual=usual, cell=cell)
    }
    return GridNodes(
        make=make,
        step=step[list(found)],
        place=np.array([spot.centre for spot in found.values()], dtype=float).reshape(-1, 2),
        u_px=np.array([spot.u_px for spot in found.values()]),
        size=(counts[0] + 1, counts[1] + 1),
        missing=tuple(
            (int(one[0]), int(one[1])) for index, one in enumerate(step) if index not in found
        ),
    )


def _is_node(spot: SpotFit, place: FloatArray, *, usual: float, cell: float) -> bool:
    moved = float(np.hypot(*np.subtract(spot.centre, place)))
    return (
        spot.depth_to_noise >= LEAST_DEPTH_TO_NOISE
        and spot.depth >= 0.35 * usual
        and moved <= FARTHEST_MOVE * cell
    )


def _usual_shape(frame: FloatArray, sites: list[SpotSite]) -> SpotShape | None:
    """Return the median shape of a spread of nodes; one shape for all steadies each centre."""
    size = max(2.0, 0.5 * sites[0].reach_px)
    guess = SpotShape(length_px=size, width_px=size)
    some = sites[:: max(1, len(sites) // 8)]
    spots = [spot for site in some if (spot := fit_spot(frame, site, guess)) is not None]
    if not spots:
        return None
    return SpotShape(
        length_px=float(np.median([spot.shape.length_px for spot in spots])),
        width_px=float(np.median([spot.shape.width_px for spot in spots])),
        blur_px=float(np.median([spot.shape.blur_px for spot in spots])),
    )
