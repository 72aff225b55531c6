"""Numbers of four points: signed offset, angle between two lines, share covered."""

import math

import pytest
from hypothesis import assume, given
from hypothesis import strategies as st

from annot.geometry import PixelPoint
from annot.measurement import measure_caliper
from annot.vocabulary import MEASURANDS
from tests.strategies import caliper, catheter_scale

MM = 2 / 12.4
NUMBERS = st.floats(20.0, 400.0)


def measured(name, *points, **more):
    one = caliper(
        measurand=MEASURANDS[name], points=tuple(PixelPoint(*map(float, p)) for p in points), **more
    )
    return measure_caliper(one, catheter_scale(), modality="XA")


OSTIUM = ((100, 100), (100, 200))
INSIDE = (150, 150)


@pytest.mark.parametrize(
    ("inside", "face", "value"),
    [
        (INSIDE, (80, 150), 20 * MM),
        (INSIDE, (130, 120), -30 * MM),
        ((50, 150), (80, 150), -20 * MM),
        (INSIDE, (100, 300), 0.0),
    ],
)
def test_protrusion_is_positive_away_from_the_appendage(inside, face, value):
    for line in (OSTIUM, OSTIUM[::-1]):
        found = measured("protrusion", *line, inside, face, u_end_px=1.0)
        assert found.estimate.value == pytest.approx(value, abs=1e-9)
        assert found.result.unit == "mm"
        assert found.result.u > 0.1
        assert found.interval.low < found.estimate.value < found.interval.high


@pytest.mark.parametrize("degrees", [0.0, 5.0, 30.0, 75.0])
@pytest.mark.parametrize("side", [-1, 1])
def test_the_tilt_is_the_angle_between_two_axes_either_way(degrees, side):
    turn = math.radians(degrees)
    end = (120 + 100 * math.cos(turn), 110 + side * 100 * math.sin(turn))
    found = measured("axis_tilt", (100, 100), (200, 100), (120, 110), end, u_end_px=1.0)
    assert found.result.value == pytest.approx(degrees, abs=1e-9)
    assert found.result.unit == "deg"
    # two lines of 100 px, each end off by 1 px and its pixel grid square to them
    u = math.degrees(math.sqrt(4 * (1 + 1 / 12)) / 100)
    assert found.result.u == pytest.approx(u, rel=1e-3)
    assert any("no tilt is shown" in text for text in found.warnings) == (degrees < 3)


@pytest.mark.parametrize(
    ("edges", "share"),
    [((110, 190), 0.8), ((190, 110), 0.8), ((80, 150), 0.5), ((90, 230), 1.0), ((210, 260), 0.0)],
)
def test_the_cover_is_the_share_of_the_ostium_between_the_edges(edges, share):
    points = (*OSTIUM, (95, edges[0]), (120, edges[1]))
    found = measured("ostium_cover", *points, u_end_px=1.0)
    assert found.estimate.value == pytest.approx(share, abs=1e-6)
    assert found.result.unit == "1"
    if 0 < share < 1:
        assert found.result.u > 0


def test_a_device_past_both_walls_says_so_and_one_at_a_wall_is_drawn_by_simulation():
    past = measured("ostium_cover", *OSTIUM, (95, 60), (95, 240), u_end_px=1.0)
    assert any("past both ends" in text for text in past.warnings)
    at_wall = measured("ostium_cover", *OSTIUM, (95, 100), (95, 200), u_end_px=1.0)
    assert at_wall.estimate.method == "monte carlo"
    assert at_wall.estimate.value < 1
    assert at_wall.interval.high <= 1


@given(NUMBERS, NUMBERS, st.floats(0, 2 * math.pi))
def test_a_turned_picture_gives_the_same_numbers(row, column, turn):
    def turned(point):
        down, across = point[0] - 100, point[1] - 150
        return (
            500 + row + down * math.cos(turn) - across * math.sin(turn),
            500 + column + down * math.sin(turn) + across * math.cos(turn),
        )

    assume(turn > 0.01)
    for name, points in (
        ("protrusion", (*OSTIUM, INSIDE, (85, 140))),
        ("axis_tilt", ((100, 150), (190, 150), (90, 140), (180, 170))),
        ("ostium_cover", (*OSTIUM, (95, 120), (95, 185))),
    ):
        plain = measured(name, *points).result
        moved = measured(name, *map(turned, points)).result
        assert moved.value == pytest.approx(plain.value, rel=1e-6)
        assert moved.u == pytest.approx(plain.u, rel=1e-3)
