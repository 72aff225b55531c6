"""What stands beside a line in a picture: the number in its own unit, or that there is no scale."""

import pytest

from annot.calibration import NoScale
from annot.geometry import PixelPoint
from annot.measurement import measure_all, measure_caliper
from annot.tasks.picture import measurement_words
from annot.vocabulary import MEASURANDS
from tests.strategies import caliper, plain_scale

RING = tuple(
    PixelPoint(*place)
    for place in (
        (100, 150),
        (110, 190),
        (150, 210),
        (190, 190),
        (200, 150),
        (190, 110),
        (150, 90),
        (110, 110),
    )
)
BEND = (PixelPoint(100, 100), PixelPoint(150, 100), PixelPoint(150, 150))


@pytest.mark.parametrize(
    ("scale", "units"),
    [
        (plain_scale(0.2), (" mm² (95 %", " mm (95 %", " mm (95 %", " mm (95 %")),
        (NoScale(reason="nothing known"), (" px², no", " px, no", " px, no", " px, no")),
    ],
)
def test_every_number_of_a_contour_stands_in_its_own_unit(scale, units):
    one = caliper(measurand=MEASURANDS["ostium_contour"], points=RING, tilt_deg=0.0)
    for measured, unit in zip(measure_all(one, scale, modality="XA"), units, strict=True):
        assert unit in measurement_words(measured)


def test_an_angle_is_no_length():
    one = caliper(measurand=MEASURANDS["neck_angle"], points=BEND)
    assert " ° (95 %" in measurement_words(measure_caliper(one, plain_scale(), modality="XA"))
