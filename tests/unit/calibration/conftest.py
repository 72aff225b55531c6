"""Small loops in memory, rendered by formulas of their own: no code of the instrument is used.

A round object's chord along the ray is 2√(R² − d²); Beer–Lambert leaves exp(−μ·chord); the system
blurs the intensity; scatter adds a veil; photons scatter by Poisson's law. Everything is drawn on
a grid four times as fine and averaged over each pixel.
"""

from dataclasses import dataclass, field

import numpy as np
import pytest

from annot.geometry import PixelPoint
from annot.loops import LoopHeader
from annot.loops.display import Display
from tests.strategies import header

FINE = 4
PHOTONS = 2500.0


@dataclass
class StoredLoop:
    """A loop whose frames lie in memory: header and `frame`, as the rooms above use it."""

    header: LoopHeader
    pixels: dict[int, np.ndarray] = field(default_factory=dict)
    display: Display = field(default_factory=Display)

    def frame(self, n: int) -> np.ndarray:
        return self.pixels[n]


def fine_grid(rows: int, columns: int):
    row, column = np.mgrid[0 : rows * FINE, 0 : columns * FINE]
    return (row + 0.5) / FINE - 0.5, (column + 0.5) / FINE - 0.5


def chord(diameter: float, distance: np.ndarray) -> np.ndarray:
    return 2 * np.sqrt(np.maximum((diameter / 2) ** 2 - distance**2, 0.0))


def detected(optical_depth, *, blur_px, veil, seed, photons=PHOTONS, slope=0.0003, glare=0.0):
    """Turn optical depth on the fine grid into stored counts; no seed leaves the noise out."""
    from scipy.ndimage import gaussian_filter

    rows, columns = (size // FINE for size in optical_depth.shape)
    row, column = fine_grid(rows, columns)
    tilted = 1 + slope * (column - columns / 2) + slope / 2 * (row - rows / 2)
    sharp = np.exp(-optical_depth) * tilted
    beam = gaussian_filter(sharp, blur_px * FINE, mode="nearest")
    if glare:
        wide = gaussian_filter(sharp, 3.0 * blur_px * FINE, mode="nearest")
        beam = (1 - glare) * beam + glare * wide
    beam = beam.reshape(rows, FINE, columns, FINE).mean(axis=(1, 3))
    counts = photons * ((1 - veil) * beam + veil)
    if seed is not None:
        counts = np.random.default_rng(seed).poisson(counts)
    return np.round(counts).astype(np.uint16)


@dataclass
class Shaft:
    """A straight tube through the middle of a picture of 200 × 200 pixels."""

    outer_px: float = 13.1
    lumen_ratio: float = 0.65
    wall: float = 0.35
    lumen: float = 0.0
    angle_deg: float = 17.0
    blur_px: float = 1.3
    veil: float = 0.2
    glare: float = 0.0
    size: int = 200
    centre: tuple[float, float] = (100.3, 99.6)

    def depth(self) -> np.ndarray:
        row, column = fine_grid(self.size, self.size)
        angle = np.deg2rad(self.angle_deg)
        across = (row - self.centre[0]) * np.cos(angle) - (column - self.centre[1]) * np.sin(angle)
        outer = chord(self.outer_px, across)
        inner = chord(self.outer_px * self.lumen_ratio, across)
        return (self.wall * (outer - inner) + self.lumen * inner) / self.outer_px

    def at(self, along: float, off: float = 0.0) -> PixelPoint:
        angle = np.deg2rad(self.angle_deg)
        return PixelPoint(
            float(self.centre[0] + along * np.sin(angle) + off * np.cos(angle)),
            float(self.centre[1] + along * np.cos(angle) - off * np.sin(angle)),
        )

    def trace(self, half: float = 70.0, off: float = 1.5) -> tuple[PixelPoint, PixelPoint]:
        return self.at(-half, off), self.at(half, off)

    def picture(self, *, seed: int | None = 1, photons: float = PHOTONS, extra=0.0) -> np.ndarray:
        return detected(
            self.depth() + extra,
            blur_px=self.blur_px,
            veil=self.veil,
            seed=seed,
            photons=photons,
            glare=self.glare,
        )


@dataclass
class Ball:
    """A ball in a picture of 100 × 100 pixels."""

    diameter_px: float = 24.0
    depth: float = 2.5
    blur_px: float = 1.3
    veil: float = 0.2
    size: int = 100
    centre: tuple[float, float] = (50.3, 48.8)

    def picture(self, *, seed: int | None = 1, photons: float = PHOTONS) -> np.ndarray:
        row, column = fine_grid(self.size, self.size)
        distance = np.hypot(row - self.centre[0], column - self.centre[1])
        depth = self.depth * chord(self.diameter_px, distance) / self.diameter_px
        return detected(depth, blur_px=self.blur_px, veil=self.veil, seed=seed, photons=photons)

    @property
    def guess(self) -> PixelPoint:
        return PixelPoint(self.centre[0] + 1.7, self.centre[1] - 1.2)


@pytest.fixture(scope="session")
def shaft() -> Shaft:
    return Shaft()


@pytest.fixture(scope="session")
def ball() -> Ball:
    return Ball()


@pytest.fixture(scope="session")
def shaft_loop(shaft) -> StoredLoop:
    return StoredLoop(
        header=header(rows=200, columns=200, frames=2),
        pixels={0: shaft.picture(seed=1), 1: shaft.picture(seed=2)},
    )


@pytest.fixture(scope="session")
def ball_loop(ball) -> StoredLoop:
    return StoredLoop(
        header=header(rows=100, columns=100, frames=2),
        pixels={0: ball.picture(seed=1), 1: ball.picture(seed=2)},
    )
