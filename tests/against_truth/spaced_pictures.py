"""Small pictures of marks at a known spacing, each drawn from a seed: cheap enough for hundreds."""

from dataclasses import dataclass

import numpy as np

from annot.geometry import PixelPoint
from synthetic_dicom.course import Course
from synthetic_dicom.phantoms import BeadGrid, Lattice, StepPlate, WireGrid
from synthetic_dicom.reference_objects import MarkerBands
from synthetic_dicom.slope import Slope
from synthetic_dicom.xray_background import chest_attenuation
from synthetic_dicom.xray_image import attenuate_object
from synthetic_dicom.xray_view import XraySetup


@dataclass(frozen=True)
class Picture:
    """One frame with the true scale (row, column) where the object lies, and a person's marks."""

    frame: np.ndarray
    mm_per_px: tuple[float, float]
    marks: tuple[PixelPoint, ...]


def exposed(setup, item, rng, *, chest, quanta=4000.0):
    """Beer-Lambert, blur, veil, quanta: 12 bits proportional to intensity."""
    from scipy.ndimage import gaussian_filter

    still = chest_attenuation(rng, setup) if chest else np.full((setup.rows, setup.columns), 0.9)
    seen = np.exp(-still)
    attenuate_object(seen, setup, item, np.zeros(2), per_side=4)
    seen = gaussian_filter(seen, rng.uniform(0.6, 1.3), mode="nearest") + rng.uniform(0.0, 0.2)
    return np.clip(np.rint(rng.poisson(seen * quanta) / quanta * 5600), 0, 4095).astype(np.uint16)


def strayed(places, rng, sd_px):
    return tuple(PixelPoint(*map(float, place + rng.normal(0, sd_px, 2))) for place in places)


def bands_picture(seed, *, tolerance_mm=0.1, tilt_deg=20.0):
    """Bands on a straight wire, tilted anyhow within a range, their gaps off within a tolerance."""
    rng = np.random.default_rng(seed)
    setup = XraySetup(rows=130, columns=300, spacing_mm=(0.26, 0.26))
    spacing = 10.0 + rng.uniform(-tolerance_mm, tolerance_mm)
    count = int(rng.integers(4, 6))
    gaps = rng.uniform(-tolerance_mm, tolerance_mm, count - 1)
    off = np.concatenate([[0.0], np.cumsum(gaps)])
    tilt = np.deg2rad(rng.uniform(-tilt_deg, tilt_deg))
    turn = np.deg2rad(rng.uniform(-12, 12))
    forward = np.array([np.cos(tilt) * np.cos(turn), np.cos(tilt) * np.sin(turn), np.sin(tilt)])
    middle = np.array([*rng.uniform(-2, 2, 2), rng.uniform(-60, 60)])
    half = 0.5 * (count - 1) * spacing + 5.0
    # the middle of the first and the last band, off their places, is the middle of the row
    start = middle - (half + 0.5 * off[-1]) * forward
    wire = MarkerBands(
        id="markers",
        path=Slope(start_mm=tuple(start), end_mm=tuple(start + (2 * half + off[-1]) * forward)),
        spacing_mm=spacing,
        first_mm=5.0,
        count=count,
        off_mm=tuple(off),
        band_per_mm=rng.uniform(0.8, 2.0),
        shaft_per_mm=rng.uniform(0.05, 0.3),
    )
    ends = [wire.path.point_mm(wire.centres_mm()[k] + s) for k, s in ((0, -2.5), (-1, 2.5))]
    return Picture(
        frame=exposed(setup, wire, rng, chest=True),
        mm_per_px=setup.mm_per_px(float(middle[2])),
        marks=strayed(setup.project(np.array(ends)), rng, 1.5),
    )


def bent_bands_picture(seed, *, missing=()):
    """Bands on a bent wire in the plane of the picture."""
    rng = np.random.default_rng(seed)
    setup = XraySetup(rows=240, columns=300, spacing_mm=(0.26, 0.26))
    path = Course(
        start_mm=(-26.0, 8.0),
        end_mm=(26.0, 8.0 + rng.uniform(-3, 3)),
        height_mm=float(rng.uniform(-40, 40)),
        bend_per_mm=float(rng.uniform(-1, 1) / 34.0),
    )
    wire = MarkerBands(id="markers", path=path, first_mm=5.0, count=5, missing=missing)
    places = np.linspace(3.0, 47.0, 7)
    spots = setup.project(np.array([path.point_mm(float(place)) for place in places]))
    return Picture(
        frame=exposed(setup, wire, rng, chest=True),
        mm_per_px=setup.mm_per_px(path.height_mm),
        marks=strayed(spots, rng, 1.5),
    )


def grid_picture(seed, *, make):
    """A grid of 4 by 4 or 5 nodes, turned anyhow, of pixels up to 5 % from square."""
    rng = np.random.default_rng(seed)
    shape = (0.28, 0.28 * rng.uniform(0.95, 1.05))
    setup = XraySetup(rows=190, columns=230, spacing_mm=shape)
    lattice = Lattice(
        centre_mm=(*rng.uniform(-1, 1, 2), float(rng.uniform(-60, 60))),
        spacing_mm=7.0 * (1 + rng.uniform(-0.005, 0.005)),
        size=(4, int(rng.integers(4, 6))),
        turn_deg=float(rng.uniform(-15, 15)),
    )
    kind = {"beads": BeadGrid, "wires": WireGrid}[make]
    corners = lattice.nodes_mm()[[0, -1, -1, 0], [0, 0, -1, -1]]
    return Picture(
        frame=exposed(setup, kind(id="grid", lattice=lattice), rng, chest=False),
        mm_per_px=setup.mm_per_px(lattice.centre_mm[2]),
        marks=strayed(setup.project(corners), rng, 2.0),
    )


def step_picture(seed):
    """Strips with eight edges, turned anyhow, traced a little askew."""
    rng = np.random.default_rng(seed)
    setup = XraySetup(rows=130, columns=300, spacing_mm=(0.26, 0.26))
    lattice = Lattice(
        centre_mm=(*rng.uniform(-1, 1, 2), float(rng.uniform(-60, 60))),
        spacing_mm=5.0 * (1 + rng.uniform(-0.005, 0.005)),
        size=(8, 2),
        turn_deg=float(90 + rng.uniform(-12, 12)),
    )
    plate = StepPlate(id="step", lattice=lattice, width=4.0, depth=float(rng.uniform(0.2, 0.8)))
    middles = lattice.nodes_mm().mean(axis=1)
    reach = 0.4 * (middles[1] - middles[0])
    ends = np.array([middles[0] - reach, middles[-1] + reach])
    return Picture(
        frame=exposed(setup, plate, rng, chest=False),
        mm_per_px=setup.mm_per_px(lattice.centre_mm[2]),
        marks=strayed(setup.project(ends), rng, 2.0),
    )
