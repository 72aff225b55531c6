"""Find phantoms in a picture: balls, plates of strips, grids and rows of bands, several at once.

What is found are first guesses, to a few pixels, of where the fits of the calibration begin; the
sizes come from those fits. Dark pieces are cut out of a smooth background and told apart by their
own moments: round ones, long ones, many small alike on a lattice, a web with holes on a lattice.
"""

from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from annot.quality.lattice import Lattice, find_lattice, find_row

FloatArray = NDArray[np.float64]
PhantomKind = Literal["sphere", "grid", "step", "markers"]
LEAST_BALL_PX = 12.0  # diameter: smaller ones are beads or bands
LEAST_AREA_PX = 6
DARK_TO_NOISE = 5.0
ROUND = 0.88  # shortest over longest axis of a ball's piece
FULL = 0.9  # its area over that of the ellipse of its moments
LONG = 2.2  # longest over shortest axis of a strip
SLENDER = 8.0  # a piece this much longer than wide is a wire
LEAST_HOLES = 4
BAND_DEPTH = 1.25  # a band over the wire that carries it
BACKGROUND_TURNS = 8


@dataclass(frozen=True, slots=True, kw_only=True)
class FoundPhantom:
    """A first guess of one phantom.

    Attributes
    ----------
    kind : str
    points : tuple of (row, column)
        Sphere: its centre. Grid: four corners in turn. Step, markers: the trace.
    size_px : float
        Sphere: diameter. Others: the spacing of their marks. Rough.
    """

    kind: PhantomKind
    points: tuple[tuple[float, float], ...]
    size_px: float


@dataclass(frozen=True, slots=True)
class _Piece:
    """A connected dark piece with its moments (full axes of the ellipse that has them)."""

    label: int
    area: int
    centre: FloatArray
    longest: float
    shortest: float
    direction: FloatArray
    touches: bool

    @property
    def fill(self) -> float:
        return self.area / max(np.pi / 4 * self.longest * self.shortest, 1.0)

    @property
    def is_ball(self) -> bool:
        return (
            not self.touches
            and self.longest >= LEAST_BALL_PX
            and self.shortest >= ROUND * self.longest
            and self.fill >= FULL
        )

    @property
    def is_wire(self) -> bool:
        return self.longest >= SLENDER * self.shortest

    @property
    def is_strip(self) -> bool:
        return self.longest >= LONG * self.shortest and self.fill >= FULL and self.shortest >= 3


def find_phantoms(
    frame: NDArray[np.generic], *, hidden: NDArray[np.bool_] | None = None
) -> tuple[FoundPhantom, ...]:
    """Return every phantom that stands out, balls by falling size first.

    Parameters
    ----------
    frame : array, shape (rows, columns)
        Pixels, larger where more of the beam arrives.
    hidden : array of bool, optional
        What a shutter covers.
    """
    dark, threshold = _darkness(np.asarray(frame, dtype=np.float64), hidden)
    label, pieces = _pieces(dark > threshold)
    strips = [one for one in pieces if one.is_strip and not one.is_wire]
    small = [one for one in pieces if one not in strips and not one.touches]
    beads = _alike(small)
    grid = find_lattice(np.array([one.centre for one in beads]))
    taken = beads if grid is not None else []
    balls = [one for one in small if one.is_ball and one not in taken]
    loose = [one for one in small if one not in taken and one.longest < 2 * LEAST_BALL_PX]
    others = [None if grid is None else _grid(grid), _plate(strips), _row(loose)]
    for one in pieces:
        if one.is_wire or one.fill < 0.5 * FULL:
            mask = label == one.label
            others.append(_grid_of_web(mask) or _bands_on_wire(dark, mask))
    spheres = [_ball(one, dark) for one in sorted(balls, key=lambda one: -one.area)]
    return (*spheres, *(one for one in others if one is not None))


def _darkness(frame: FloatArray, hidden: NDArray[np.bool_] | None) -> tuple[FloatArray, float]:
    """Return how much darker than a smooth background each pixel is, and where dark begins."""
    from scipy.ndimage import gaussian_filter

    light = gaussian_filter(frame, 1.0)
    dark = -np.log(np.maximum(light, 0.5))
    row, column = np.mgrid[-1.0 : 1.0 : frame.shape[0] * 1j, -1.0 : 1.0 : frame.shape[1] * 1j]
    basis = np.stack([np.ones_like(row), row, column, row**2, row * column, column**2], axis=-1)
    flat, values = basis.reshape(-1, 6), dark.ravel()
    kept = np.ones(len(values), dtype=bool) if hidden is None else ~hidden.ravel()
    usable = kept.copy()
    for _ in range(BACKGROUND_TURNS):
        chosen = np.flatnonzero(kept)
        some = chosen[:: max(1, len(chosen) // 20_000)]
        weights = np.linalg.lstsq(flat[some], values[some], rcond=None)[0]
        away = values - flat @ weights
        noise = 1.4826 * float(np.median(np.abs(away[some] - np.median(away[some])))) + 1e-6
        # what is darker belongs to an object; its own half of the noise tells the background's
        kept = usable & (away < 2 * noise)
    away[~usable] = -np.inf
    return away.reshape(frame.shape), DARK_TO_NOISE * noise


def _pieces(mask: NDArray[np.bool_]) -> tuple[NDArray[np.int32], list[_Piece]]:
    from scipy.ndimage import find_objects, label

    labels, _ = label(mask)
    pieces = []
    for number, window in enumerate(find_objects(labels), start=1):
        places = np.argwhere(labels[window] == number).astype(float)
        if len(places) < LEAST_AREA_PX:
            continue
        places += [window[0].start, window[1].start]
        centre = places.mean(axis=0)
        # a pixel is a square of its own: 1/12 to each variance
        spread = np.cov(places.T, bias=True) + np.eye(2) / 12
        power, axes = np.linalg.eigh(spread)
        last = np.array(mask.shape) - 1
        edge = bool(np.any(places.min(axis=0) <= 0) or np.any(places.max(axis=0) >= last))
        pieces.append(
            _Piece(
                number,
                len(places),
                centre,
                4 * float(np.sqrt(power[1])),
                4 * float(np.sqrt(power[0])),
                axes[:, 1],
                edge,
            )
        )
    return labels, pieces


def _alike(pieces: list[_Piece]) -> list[_Piece]:
    """Return the largest set of pieces of about one area."""
    if not pieces:
        return []
    areas = np.array([one.area for one in pieces], dtype=float)
    near = np.abs(np.log(areas[:, np.newaxis] / areas)) < np.log(1.6)
    chosen = near[int(np.argmax(near.sum(axis=1)))]
    return [one for one, yes in zip(pieces, chosen, strict=True) if yes]


def _ball(piece: _Piece, dark: FloatArray) -> FoundPhantom:
    """Return a ball with the diameter that the width of its shadow at half its depth tells.

    A chord is half the diameter where it passes the middle at 0.866 of the radius.
    """
    reach = int(0.7 * piece.longest) + 2
    top, left = (max(0, round(float(one)) - reach) for one in piece.centre)
    patch = dark[top : top + 2 * reach + 1, left : left + 2 * reach + 1]
    row, column = np.indices(patch.shape)
    away = np.hypot(row + top - piece.centre[0], column + left - piece.centre[1])
    inner = float(np.median(patch[away < 0.25 * piece.longest]))
    area = np.count_nonzero((patch > 0.5 * inner) & (away < reach))
    diameter = float(np.sqrt(4 * area / np.pi)) / np.sqrt(0.75)
    return FoundPhantom(kind="sphere", points=(_point(piece.centre),), size_px=float(diameter))


def _grid(lattice: Lattice) -> FoundPhantom:
    return FoundPhantom(
        kind="grid",
        points=tuple(_point(one) for one in lattice.corners()),
        size_px=lattice.spacing,
    )


def _grid_of_web(mask: NDArray[np.bool_]) -> FoundPhantom | None:
    """Return the grid of wires that a piece with many holes is: its nodes lie between the holes."""
    from scipy.ndimage import binary_fill_holes

    _, holes = _pieces(np.asarray(binary_fill_holes(mask)) & ~mask)
    if len(holes) < LEAST_HOLES:
        return None
    cells = _alike(holes)
    lattice = find_lattice(np.array([one.centre for one in cells]), least=LEAST_HOLES)
    if lattice is None:
        return None
    return FoundPhantom(
        kind="grid",
        points=tuple(_point(one) for one in lattice.corners(beyond=0.5)),
        size_px=lattice.spacing,
    )


def _plate(strips: list[_Piece]) -> FoundPhantom | None:
    """Return the plate that parallel strips of one size at one spacing make."""
    alike = _alike(strips)
    if len(alike) < 2:
        return None
    longest = alike[int(np.argmax([one.longest for one in alike]))]
    parallel = [one for one in alike if abs(float(one.direction @ longest.direction)) > 0.98]
    across = np.array([-longest.direction[1], longest.direction[0]])
    # beside one another, not one behind the other
    along = [float(one.centre @ longest.direction) for one in parallel]
    level = [
        one
        for one, place in zip(parallel, along, strict=True)
        if abs(place - np.median(along)) < 0.3 * longest.longest
    ]
    level.sort(key=lambda one: float(one.centre @ across))
    if len(level) < 2:
        return None
    centres = np.array([one.centre for one in level])
    gaps = np.diff(centres @ across)
    if gaps.max() > 1.3 * gaps.min():
        return None
    gap = float(np.median(gaps))
    # strips are as wide as the gaps between them, so edges lie a quarter of a period off centres
    ends = (centres[0] - 0.5 * gap * across, centres[-1] + 0.5 * gap * across)
    return FoundPhantom(kind="step", points=tuple(_point(one) for one in ends), size_px=gap / 2)


def _bands_on_wire(dark: FloatArray, mask: NDArray[np.bool_]) -> FoundPhantom | None:
    """Return the bands that stand out from the wire that a long piece is."""
    inside = dark[mask]
    usual, most = float(np.median(inside)), float(np.quantile(inside, 0.99))
    if most < BAND_DEPTH * usual:
        return None
    _, bands = _pieces(mask & (dark > 0.5 * (usual + most)))
    return _row(bands)


def _row(pieces: list[_Piece]) -> FoundPhantom | None:
    """Return the longest row of pieces of one size at one spacing."""
    row = find_row(np.array([one.centre for one in _alike(pieces)]))
    if row is None:
        return None
    return FoundPhantom(
        kind="markers", points=tuple(_point(one) for one in row.trace()), size_px=row.spacing
    )


def _point(place: FloatArray) -> tuple[float, float]:
    return float(place[0]), float(place[1])
