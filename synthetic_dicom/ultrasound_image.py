"""Pixels of a transoesophageal echo sector: tissue model, speckle, beam width, scan conversion."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from synthetic_dicom.device_neighbours import DeviceNeighbours, device_neighbours
from synthetic_dicom.implant import Implant
from synthetic_dicom.neighbours import neighbours_of
from synthetic_dicom.plane_section import PlanePoints, nearest_wall
from synthetic_dicom.quadrics import FloatArray
from synthetic_dicom.scene import BeatingAnatomy
from synthetic_dicom.ultrasound_view import Panel

_DEPTH_SAMPLES = 340
_BEAMS = 168
_VESTIBULE_REACH_MM = 7.0


@dataclass(frozen=True, slots=True, kw_only=True)
class EchoSettings:
    """How echoes become grey values.

    Attributes
    ----------
    beam_width_deg : float
        Lateral width of the beam (full width at half maximum), constant in angle, so that it
        grows in mm with depth.
    pulse_mm : float
        Axial length of the pulse (full width at half maximum).
    dynamic_range_db : float
        Echo levels that are shown.
    noise_db : float
        Level of the receiver's noise, below the brightest tissue.
    """

    beam_width_deg: float = 1.6
    pulse_mm: float = 0.7
    dynamic_range_db: float = 54.0
    noise_db: float = -52.0


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _PolarGrid:
    """Sample places of a sector: depth down the rows, beams along the columns."""

    depth_mm: FloatArray
    angle_rad: FloatArray
    points: PlanePoints

    @classmethod
    def of(cls, panel: Panel, beating: BeatingAnatomy) -> _PolarGrid:
        half = np.deg2rad(panel.half_angle_deg)
        depth, angle = np.meshgrid(
            np.linspace(0.0, panel.depth_mm, _DEPTH_SAMPLES),
            np.linspace(-half, half, _BEAMS),
            indexing="ij",
        )
        points = PlanePoints(
            lateral_mm=depth * np.sin(angle),
            axial_mm=depth * np.cos(angle) - panel.ostium_depth_mm,
            direction=beating.anatomy.in_frame(panel.plane_deg),
        )
        if panel.square_mm is not None:
            points = replace(
                points,
                down=beating.anatomy.in_frame(panel.plane_deg + 90.0),
                origin_mm=np.array([0.0, 0.0, panel.square_mm]),
            )
        return cls(depth_mm=depth, angle_rad=angle, points=points)


def render_sector(
    panel: Panel,
    beating: BeatingAnatomy,
    *,
    seed: int,
    settings: EchoSettings | None = None,
    implant: Implant | None = None,
) -> NDArray[np.uint8]:
    """Render the region of one sector, shape (frames, region rows, region columns).

    Parameters
    ----------
    panel : Panel
        The plane and where it lies on the screen.
    beating : BeatingAnatomy
        The appendage at the frames' times.
    seed : int
        Of the speckle.
    settings : EchoSettings, optional
        Beam, pulse and grey scale.
    implant : Implant, optional
        A drum whose wall is bright, with the vessels and the leaflet that lie beside it.
    """
    settings = settings or EchoSettings()
    grid = _PolarGrid.of(panel, beating)
    rng = np.random.default_rng(np.random.SeedSequence([seed, 2, round(panel.plane_deg * 10)]))
    speckle = rng.standard_normal((6, *grid.depth_mm.shape)).astype(np.float32)
    texture = _tissue_texture(rng, grid)
    convert = _ScanConversion.of(panel)
    still = neighbours_of(beating.anatomy)
    beside = None if implant is None else device_neighbours(beating.anatomy, panel.plane_deg)
    if beside is not None:
        still = (*still, *beside.solids(beating.anatomy))
    frames = np.zeros((len(beating.times_ms), *convert.shape), dtype=np.uint8)
    for index, stretch in enumerate(beating.stretches()):
        blood = tuple(
            solid.stretched(stretch)
            for solid in (
                beating.anatomy.neck(),
                *beating.anatomy.lobes(),
                beating.anatomy.vestibule(_VESTIBULE_REACH_MM),
            )
        )
        wall_mm = nearest_wall((*blood, *still), grid.points)
        echo = _echo_level(wall_mm, grid, texture)
        if implant is not None and beside is not None:
            echo = np.maximum(echo, _implant_echo(implant, beside, beating, grid.points))
        turn = 2.0 * np.pi * beating.times_ms[index] / 2600.0
        seen = _envelope(echo, _drifting(speckle, turn), grid, settings)
        frames[index] = convert.picture(_grey(seen, settings))
    return frames


def _echo_level(wall_mm: FloatArray, grid: _PolarGrid, texture: FloatArray) -> FloatArray:
    """Return the local echo amplitude: dark blood, bright wall, textured tissue behind it."""
    outside = np.maximum(wall_mm, 0.0)
    slope_depth, slope_angle = np.gradient(wall_mm)
    facing = np.abs(slope_depth) / np.hypot(slope_depth, 2.0 * slope_angle + 1e-9)
    lining = (0.35 + 0.65 * facing**2) * np.exp(-((outside / 1.1) ** 2))
    tissue = texture * (0.12 + 0.88 * np.exp(-outside / 11.0))
    level = np.where(wall_mm > 0.0, 0.17 * tissue + 0.9 * lining, 0.0022)
    near = np.exp(-grid.depth_mm / 3.0)
    fade = np.exp(-grid.depth_mm / 160.0) * np.clip(1.25 - grid.depth_mm / 240.0, 0.0, 1.0)
    return np.asarray(level * fade + 0.5 * near)


def _implant_echo(
    implant: Implant, beside: DeviceNeighbours, beating: BeatingAnatomy, points: PlanePoints
) -> FloatArray:
    """Return the echo of an implant's wall and of the leaflet beside it."""
    depth = implant.depth_inside_mm(beating.anatomy, points.places_mm())
    wall = np.where((depth >= 0.0) & (depth <= implant.wall_mm), 0.8, 0.0)
    leaflet = 0.6 * beside.leaflet_holds(points.lateral_mm, points.axial_mm)
    return np.asarray(np.maximum(wall, leaflet))


def _tissue_texture(rng: np.random.Generator, grid: _PolarGrid) -> FloatArray:
    """Return slowly varying brightness of tissue: bundles and bright sheets far from blood."""
    from scipy.ndimage import gaussian_filter

    coarse = gaussian_filter(rng.standard_normal(grid.depth_mm.shape), (7.0, 8.0))
    layers = gaussian_filter(rng.standard_normal(grid.depth_mm.shape), (3.0, 22.0))
    mixed = coarse / coarse.std() + 0.8 * layers / layers.std()
    return np.asarray(np.exp(0.55 * mixed))


def _drifting(speckle: NDArray[np.float32], turn: float) -> NDArray[np.float32]:
    """Return real and imaginary scatterers that change slowly; the last pair is noise-like."""
    first, second = np.float32(np.cos(turn)), np.float32(np.sin(turn))
    return np.asarray(first * speckle[0:2] + second * speckle[2:4], dtype=np.float32)


def _envelope(
    echo: FloatArray,
    scatterers: NDArray[np.float32],
    grid: _PolarGrid,
    settings: EchoSettings,
) -> FloatArray:
    """Return the echo amplitude after pulse and beam have spread the scatterers."""
    from scipy.ndimage import gaussian_filter

    to_sigma = 1.0 / np.sqrt(8.0 * np.log(2.0))
    step_mm = float(grid.depth_mm[1, 0])
    step_deg = float(np.rad2deg(grid.angle_rad[0, 1] - grid.angle_rad[0, 0]))
    sigma = (
        to_sigma * settings.pulse_mm / step_mm,
        to_sigma * settings.beam_width_deg / step_deg,
    )
    gain = np.sqrt(4.0 * np.pi * sigma[0] * sigma[1])
    amplitude = echo.astype(np.float32)
    spread = [gain * gaussian_filter(part * amplitude, sigma) for part in scatterers]
    power = spread[0] ** 2 + spread[1] ** 2 + 2.0 * 10.0 ** (settings.noise_db / 10.0)
    return np.asarray(np.sqrt(0.5 * power), dtype=float)


def _grey(amplitude: FloatArray, settings: EchoSettings) -> FloatArray:
    """Return log-compressed grey values, 0 to 255."""
    level_db = 20.0 * np.log10(amplitude)
    return np.clip(1.0 + level_db / settings.dynamic_range_db, 0.0, 1.0) * 255.0


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _ScanConversion:
    """Bilinear look-up from the polar grid to the region's pixels."""

    shape: tuple[int, int]
    inside: NDArray[np.bool_]
    corner: NDArray[np.intp]
    weights: FloatArray

    @classmethod
    def of(cls, panel: Panel) -> _ScanConversion:
        lateral, axial = panel.pixel_grid_mm()
        depth, angle = np.hypot(lateral, axial), np.arctan2(lateral, axial)
        half = np.deg2rad(panel.half_angle_deg)
        inside = (depth <= panel.depth_mm) & (np.abs(angle) <= half)
        down = depth[inside] / panel.depth_mm * (_DEPTH_SAMPLES - 1)
        across = (angle[inside] + half) / (2.0 * half) * (_BEAMS - 1)
        row = np.minimum(down.astype(np.intp), _DEPTH_SAMPLES - 2)
        column = np.minimum(across.astype(np.intp), _BEAMS - 2)
        part, side = down - row, across - column
        weights = np.stack(
            [(1 - part) * (1 - side), (1 - part) * side, part * (1 - side), part * side]
        )
        return cls(
            shape=(lateral.shape[0], lateral.shape[1]),
            inside=inside,
            corner=np.asarray(row * _BEAMS + column),
            weights=weights,
        )

    def picture(self, polar: FloatArray) -> NDArray[np.uint8]:
        flat = polar.ravel()
        steps = (0, 1, _BEAMS, _BEAMS + 1)
        seen = sum(
            weight * flat[self.corner + step]
            for weight, step in zip(self.weights, steps, strict=True)
        )
        picture = np.zeros(self.shape, dtype=np.uint8)
        picture[self.inside] = np.rint(seen).astype(np.uint8)
        return picture
