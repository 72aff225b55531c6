"""The X-ray scenes of the named cases; places are chosen in pixels and brought to their depth."""

from __future__ import annotations

import numpy as np

from synthetic_dicom.course import Course
from synthetic_dicom.reference_objects import Catheter, MarkerBands, Sphere
from synthetic_dicom.slope import Slope
from synthetic_dicom.xray_image import XrayScene
from synthetic_dicom.xray_view import XraySetup

PointPx = tuple[float, float]

LEFT_VIEW = XraySetup(primary_deg=-25.0, secondary_deg=15.0)
CAUDAL_VIEW = XraySetup(primary_deg=-30.0, secondary_deg=-20.0)


def _height(setup: XraySetup) -> float:
    return float(XrayScene(setup=setup, objects=()).ostium_mm(np.zeros(2))[2])


def _course(
    setup: XraySetup, ends_px: tuple[PointPx, PointPx], height_mm: float, bend_per_mm: float = 0.0
) -> Course:
    start, end = setup.at_height(np.array(ends_px), height_mm)
    return Course(
        start_mm=(float(start[0]), float(start[1])),
        end_mm=(float(end[0]), float(end[1])),
        height_mm=height_mm,
        bend_per_mm=bend_per_mm,
    )


def catheter_scene(*, filled: bool = False, stripe: bool = False) -> XrayScene:
    """Return a straight catheter of 2.00 mm at the anatomy's depth."""
    setup = LEFT_VIEW
    path = _course(setup, ((548.0, 150.0), (268.0, 200.0)), _height(setup))
    tube = Catheter(id="catheter", path=path, filled=filled, stripe=stripe)
    return XrayScene(setup=setup, objects=(tube,))


def caudal_scene() -> XrayScene:
    """Return a gently curved catheter 15 mm nearer to the source than the anatomy."""
    setup = CAUDAL_VIEW
    path = _course(setup, ((556.0, 112.0), (288.0, 192.0)), _height(setup) + 15.0, 1.0 / 120.0)
    return XrayScene(setup=setup, objects=(Catheter(id="catheter", path=path),))


def sphere_scene() -> XrayScene:
    """Return a ball 25 mm nearer to the source than the anatomy, and a marker catheter."""
    setup = LEFT_VIEW
    height = _height(setup)
    near = height + 25.0
    centre = setup.at_height(np.array([390.0, 396.0]), near)
    ball = Sphere(id="sphere", centre_mm=(float(centre[0]), float(centre[1]), near))
    path = _course(setup, ((548.0, 150.0), (236.0, 198.0)), height + 5.0)
    return XrayScene(setup=setup, objects=(ball, MarkerBands(id="markers", path=path)))


def marker_scene() -> XrayScene:
    """Return a curved wire with seven places for bands at the anatomy's depth, one left empty."""
    setup = LEFT_VIEW
    path = _course(setup, ((500.0, 100.0), (120.0, 170.0)), _height(setup), 1.0 / 90.0)
    wire = MarkerBands(id="markers", path=path, first_mm=4.0, count=7, missing=(2,))
    return XrayScene(setup=setup, objects=(wire,))


def tilted_marker_scene() -> XrayScene:
    """Return a straight wire with five bands that rises by 18 degrees towards the source."""
    setup = LEFT_VIEW
    height, rise = _height(setup), np.deg2rad(18.0)
    foot = setup.at_height(np.array([450.0, 110.0]), height)
    across = np.array([0.3, -1.0]) / np.hypot(0.3, 1.0)
    reach = 56.0 * np.array([*(np.cos(rise) * across), np.sin(rise)])
    # the middle lies at the anatomy's depth
    start = np.array([*foot, height]) - np.array([0.0, 0.0, 0.5 * reach[2]])
    end = start + reach
    path = Slope(
        start_mm=(float(start[0]), float(start[1]), float(start[2])),
        end_mm=(float(end[0]), float(end[1]), float(end[2])),
    )
    wire = MarkerBands(id="markers", path=path, first_mm=8.0, count=5)
    return XrayScene(setup=setup, objects=(wire,))
