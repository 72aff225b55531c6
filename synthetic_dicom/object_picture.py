"""Small X-ray pictures of one object of exactly known size in pixels, drawn on a finer grid."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from synthetic_dicom.course import Course
from synthetic_dicom.quadrics import FloatArray
from synthetic_dicom.shaft_profile import chord_px

_TAIL_WIDTH = 3.0
_LOG_RANGE = 100.0
_TOP = 4095


@dataclass(frozen=True, slots=True, kw_only=True)
class TubeShape:
    """A tube along a course whose lengths are pixels: x the columns, y the rows."""

    course: Course
    outer_px: float
    inner_px: float
    wall_per_px: float
    lumen_per_px: float = 0.0

    def attenuation(self, rows: FloatArray, columns: FloatArray) -> FloatArray:
        """Return the ray sums of parallel rays through places of any one shape (n,)."""
        _, beside, _ = self.course.locate(np.stack([columns, rows]))
        outer, inner = chord_px(beside, self.outer_px), chord_px(beside, self.inner_px)
        return self.wall_per_px * (outer - inner) + self.lumen_per_px * inner


@dataclass(frozen=True, slots=True, kw_only=True)
class BandedWire:
    """A thin solid shaft with tight bands around it, at distances along a course in pixels."""

    course: Course
    shaft_px: float
    band_px: float
    band_length_px: float
    centres_px: tuple[float, ...]
    shaft_per_px: float
    band_per_px: float

    def attenuation(self, rows: FloatArray, columns: FloatArray) -> FloatArray:
        """Return the ray sums of parallel rays through places of any one shape (n,)."""
        along, beside, _ = self.course.locate(np.stack([columns, rows]))
        shaft = chord_px(beside, self.shaft_px)
        ring = self.band_per_px * (chord_px(beside, self.band_px) - shaft)
        total = self.shaft_per_px * shaft
        for centre in self.centres_px:
            total = total + np.where(np.abs(along - centre) <= 0.5 * self.band_length_px, ring, 0.0)
        return np.asarray(total)


@dataclass(frozen=True, slots=True, kw_only=True)
class BallShape:
    """A solid ball."""

    centre_px: tuple[float, float]
    diameter_px: float
    per_px: float

    def attenuation(self, rows: FloatArray, columns: FloatArray) -> FloatArray:
        """Return the ray sums of parallel rays through places of any one shape (n,)."""
        distance = np.hypot(rows - self.centre_px[0], columns - self.centre_px[1])
        return self.per_px * chord_px(distance, self.diameter_px)


@dataclass(frozen=True, slots=True, kw_only=True)
class SoftEdge:
    """The edge of something broad behind the object, a rib or the heart."""

    through_px: tuple[float, float]
    angle_deg: float
    width_px: float
    depth: float

    def attenuation(self, rows: FloatArray, columns: FloatArray) -> FloatArray:
        """Return the attenuation at places of any one shape (n,)."""
        angle = np.deg2rad(self.angle_deg)
        signed = (rows - self.through_px[0]) * np.cos(angle)
        signed = signed - (columns - self.through_px[1]) * np.sin(angle)
        return np.asarray(0.5 * self.depth * (1.0 + np.tanh(signed / self.width_px)))


@dataclass(frozen=True, slots=True, kw_only=True)
class Lattice:
    """A grid of beads, or of wires that cross, at first + i * way + j * other, all in pixels.

    Nodes lie farther apart than they are wide; `counts` are how many there are along both ways.
    """

    first_px: tuple[float, float]
    way_px: tuple[float, float]
    other_px: tuple[float, float]
    counts: tuple[int, int]
    thick_px: float
    per_px: float
    wires: bool = False

    def node_px(self, i: int, j: int) -> tuple[float, float]:
        """Return a node's place (row, column)."""
        return (
            self.first_px[0] + i * self.way_px[0] + j * self.other_px[0],
            self.first_px[1] + i * self.way_px[1] + j * self.other_px[1],
        )

    def attenuation(self, rows: FloatArray, columns: FloatArray) -> FloatArray:
        """Return the ray sums of parallel rays through places of any one shape (n,)."""
        ways = np.array([self.way_px, self.other_px]).T
        place = np.stack([rows - self.first_px[0], columns - self.first_px[1]])
        step = np.linalg.solve(ways, place)
        most = np.array(self.counts)[:, np.newaxis] - 1
        nearest = np.clip(np.rint(step), 0, most)
        if not self.wires:
            away = np.hypot(*(place - ways @ nearest))
            return self.per_px * chord_px(away, self.thick_px)
        # a step off a wire is so many pixels square to it, by the area of the cell
        area, total = abs(np.linalg.det(ways)), np.zeros(rows.size)
        reach = np.all((step > -0.5) & (step < most + 0.5), axis=0)
        for one in (0, 1):
            square = area / np.hypot(*ways[:, 1 - one])
            away = np.abs(step[one] - nearest[one]) * square
            total += np.where(reach, self.per_px * chord_px(away, self.thick_px), 0.0)
        return total


Shape = TubeShape | BandedWire | BallShape | SoftEdge | Lattice


@dataclass(frozen=True, slots=True, kw_only=True)
class Recording:
    """How the beam becomes stored values.

    Attributes
    ----------
    blur_px : float
        Standard deviation of the Gaussian that acts on the intensity.
    tail : float
        Share of the blur that is three times as wide: glare, which no Gaussian has.
    veil : float
        Share of the background's intensity that is scatter.
    noise : float
        Standard deviation of a background pixel over its mean; the variance goes with the
        intensity, as that of counted quanta does.
    correlated_px : float
        Standard deviation of a blur of the noise, which keeps its size; 0 leaves pixels
        independent.
    slope : tuple of float
        Relative change of the background per row and per column.
    logarithmic : bool
        Store the logarithm of the intensity instead of the intensity.
    """

    blur_px: float
    tail: float = 0.0
    veil: float = 0.0
    noise: float = 0.0
    correlated_px: float = 0.0
    slope: tuple[float, float] = (0.0, 0.0)
    logarithmic: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class ObjectPicture:
    """A picture of some shapes, (rows, columns), before chance acts on it."""

    rows: int
    columns: int
    shapes: tuple[Shape, ...]
    recording: Recording
    fine: int | None = None

    @property
    def fineness(self) -> int:
        """Return into how many cells a pixel's side is cut: the blur spans four or more."""
        return self.fine or int(np.clip(np.ceil(4.0 / self.recording.blur_px), 3, 8))

    def intensity(self) -> FloatArray:
        """Return the mean intensity of each pixel, 1 for the background in the middle.

        Drawn at points of a grid fine enough for the blur, blurred there, then averaged over
        each pixel's square.
        """
        recording = self.recording
        fine = self.fineness
        margin = int(np.ceil(4.0 * recording.blur_px * (_TAIL_WIDTH if recording.tail else 1.0)))
        row = _fine_places(self.rows, margin, fine)
        column = _fine_places(self.columns, margin, fine)
        down, across = np.meshgrid(row, column, indexing="ij")
        # each line of points shifted within its cells, or a shaft along the lines would be drawn
        # some tenths of a percent too wide or too narrow
        rows = (down + _shifts(len(column), fine)).ravel()
        columns = (across + _shifts(len(row), fine)[:, np.newaxis]).ravel()
        depth = np.zeros(rows.size)
        for shape in self.shapes:
            depth += shape.attenuation(rows, columns)
        passed = np.exp(-depth).reshape(len(row), len(column))
        passed *= 1.0 + recording.slope[0] * (row[:, np.newaxis] - 0.5 * (self.rows - 1))
        passed *= 1.0 + recording.slope[1] * (column - 0.5 * (self.columns - 1))
        passed = _blurred(passed, recording, fine)
        cut = slice(margin * fine, -margin * fine or None)
        cells = passed[cut, cut].reshape(self.rows, fine, self.columns, fine)
        return np.asarray((1.0 - recording.veil) * cells.mean(axis=(1, 3)) + recording.veil)

    def stored(self, rng: np.random.Generator) -> NDArray[np.uint16]:
        """Return 12-bit values with noise; the background stands clear of the top."""
        recording = self.recording
        seen = self.intensity()
        seen = seen + recording.noise * np.sqrt(seen) * _noise(rng, seen.shape, recording)
        top = (1.0 + 5.0 * recording.noise) * 1.15
        if recording.logarithmic:
            share = 1.0 + np.log(np.maximum(seen / top, 1e-9)) / np.log(_LOG_RANGE)
        else:
            share = seen / top
        return np.asarray(np.clip(np.rint(_TOP * share), 0, _TOP), dtype=np.uint16)


def _fine_places(count: int, margin: int, fine: int) -> FloatArray:
    return (np.arange((count + 2 * margin) * fine) + 0.5) / fine - 0.5 - margin


def _shifts(count: int, fine: int) -> FloatArray:
    """Return shifts within a cell, even over any run of them: steps of the golden ratio."""
    return np.asarray((np.arange(count) * 0.6180339887498949 % 1.0 - 0.5) / fine)


def _blurred(passed: FloatArray, recording: Recording, fine: int) -> FloatArray:
    from scipy.ndimage import gaussian_filter

    sigma = recording.blur_px * fine
    sharp = gaussian_filter(passed, sigma, mode="nearest", truncate=5.0)
    if recording.tail == 0.0:
        return np.asarray(sharp)
    wide = gaussian_filter(passed, _TAIL_WIDTH * sigma, mode="nearest", truncate=4.0)
    return np.asarray((1.0 - recording.tail) * sharp + recording.tail * wide)


def _noise(rng: np.random.Generator, shape: tuple[int, ...], recording: Recording) -> FloatArray:
    from scipy.ndimage import gaussian_filter

    white = rng.standard_normal(shape)
    if recording.correlated_px == 0.0:
        return white
    smooth = gaussian_filter(white, recording.correlated_px, mode="wrap")
    return np.asarray(smooth / smooth.std())
