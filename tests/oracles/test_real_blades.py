"""Blades in a real radiograph: `RG3_UNCR.dcm` of package pydicom-data, a lower leg.

Its blades cover both sides of the frame (seen by eye: black up to column 370 and from 1390 on, with
a penumbra inside); the leg lies between columns 600 and 1200. No object of known size is in it, nor
in any other radiograph that the test packages ship.
"""

import numpy as np
from pydicom.data import get_testdata_file

from annot.calibration.ball_fit import fit_ball
from annot.calibration.open_field import hidden_field
from annot.calibration.scale import NoScale
from annot.calibration.shaft_fit import fit_shaft
from annot.calibration.shaft_location import Reading
from annot.geometry import PixelPoint
from annot.loops import open_loop


def radiograph():
    path = get_testdata_file("RG3_UNCR.dcm", download=False)
    assert path is not None
    return open_loop(path).frame(0)


def test_blades_of_a_real_radiograph_are_found_and_the_leg_is_not_among_them():
    hidden = hidden_field(radiograph())
    assert hidden is not None
    assert np.mean(hidden[:, :360]) > 0.99
    assert np.mean(hidden[:, 1400:]) > 0.99
    assert not hidden[:, 600:1100].any()


def test_nothing_behind_real_blades_gives_a_size():
    frame = radiograph()
    trace = (PixelPoint(200.0, 330.0), PixelPoint(600.0, 340.0))
    shaft = fit_shaft([Reading(frame=frame, trace=trace)])
    ball = fit_ball(frame, PixelPoint(900.0, 340.0), 20.0)
    for found in (shaft, ball):
        assert isinstance(found, NoScale)
        assert "the shutter at row" in found.reason
