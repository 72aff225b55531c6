"""Ellipses against tables and laws that stand outside the project."""

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.integrate import quad

from annot.geometry.ellipse import Ellipse
from tests.strategies import positives

axes = st.tuples(st.floats(2.0, 60.0), st.floats(0.05, 1.0)).map(lambda p: (p[0], p[0] * p[1]))

# Semi-axes a, b: circumference, perimeter-derived and area-derived diameter. Computed with mpmath
# to 30 digits from 4·a·E(1 − b²/a²); E(1/2) and E(3/4) also in Abramowitz & Stegun (from memory).
CIRCUMFERENCES = [
    (1, 1.0, 6.283185307179586, 2.0, 2.0),
    (1, 0.9, 5.973160432524828, 1.9013160174345, 1.8973665961010275),
    (1, 0.8, 5.672333577794897, 1.8055598555443877, 1.7888543819998317),
    (1, 0.75, 5.525873040177376, 1.758940018484938, 1.7320508075688772),
    (1, 0.6, 5.105399772679625, 1.6250992205644024, 1.5491933384829668),
    (1, 0.5, 4.844224110273838, 1.54196442519004, 1.4142135623730951),
    (1, 0.25, 4.289210887578417, 1.3652982294433618, 1.0),
    (1, 0.1, 4.063974180100896, 1.2936031587217802, 0.6324555320336759),
    (12, 9.0, 66.31047648212852, 21.107280221819256, 20.784609690826528),
    (15, 10.0, 79.32719794645296, 25.250631349614473, 24.49489742783178),
    (14, 11.0, 78.82281506885093, 25.090081293251917, 24.819347291981714),
]
# Full axes, area, area-derived, perimeter, perimeter-derived: closed forms, four decimals
SECTIONS = [
    (20, 20, 314.16, 20.000, 62.8319, 20.000),
    (24, 18, 339.29, 20.785, 66.3105, 21.107),
    (25, 17, 333.79, 20.616, 66.5732, 21.191),
    (28.7, 21.5, 484.63, 24.840, 79.2600, 25.229),
    (30, 15, 353.43, 21.213, 72.6634, 23.129),
]
# Degrees, silhouette, chord of semi-axes 12 and 9: closed form
WIDTHS = [
    (0, 24.0, 24.0),
    (15, 23.645701530655405, 23.398201524962037),
    (30, 22.64950330581225, 21.959794127895073),
    (45, 21.213203435596427, 20.364675298172568),
    (60, 19.672315572906, 19.07326594173663),
    (75, 18.462957485819025, 18.269705360187128),
    (90, 18.0, 18.0),
]


@pytest.mark.parametrize(("a", "b", "around", "by_perimeter", "by_area"), CIRCUMFERENCES)
def test_perimeter_and_derived_diameters_are_those_of_the_table(
    a, b, around, by_perimeter, by_area
):
    one = Ellipse(largest=2 * a, smallest=2 * b)
    assert one.perimeter == pytest.approx(around, rel=1e-12)
    assert one.perimeter_diameter == pytest.approx(by_perimeter, rel=1e-12)
    assert one.area_diameter == pytest.approx(by_area, rel=1e-12)


@pytest.mark.parametrize(("long", "short", "area", "by_area", "around", "by_perimeter"), SECTIONS)
def test_cross_sections_of_the_trade_come_out_to_the_printed_digits(
    long, short, area, by_area, around, by_perimeter
):
    one = Ellipse(largest=long, smallest=short)
    assert one.area == pytest.approx(area, abs=5.1e-3)
    assert one.area_diameter == pytest.approx(by_area, abs=5.1e-4)
    assert one.perimeter == pytest.approx(around, abs=5.1e-5)
    assert one.perimeter_diameter == pytest.approx(by_perimeter, abs=5.1e-4)


@pytest.mark.parametrize(("turn", "shadow", "chord"), WIDTHS)
def test_silhouette_and_chord_are_those_of_the_table(turn, shadow, chord):
    one = Ellipse(largest=24, smallest=18)
    assert float(one.silhouette(turn)) == pytest.approx(shadow, rel=1e-12)
    assert float(one.chord(turn)) == pytest.approx(chord, rel=1e-12)


def test_an_oval_of_28_7_by_21_5_shows_24_335_as_chord_and_25_357_as_shadow_at_45_degrees():
    one = Ellipse(largest=28.7, smallest=21.5)
    assert float(one.chord(45)) == pytest.approx(24.335, abs=5e-4)
    assert float(one.silhouette(45)) == pytest.approx(25.357, abs=5e-4)


@given(axes)
def test_perimeter_is_the_length_of_the_outline(pair):
    long, short = pair
    quarter, _ = quad(lambda t: math.hypot(long * math.sin(t), short * math.cos(t)), 0, math.pi / 2)
    assert Ellipse(largest=long, smallest=short).perimeter == pytest.approx(2 * quarter, rel=1e-8)


@given(axes)
def test_mean_silhouette_over_all_directions_is_the_perimeter_over_pi(pair):
    one = Ellipse(largest=pair[0], smallest=pair[1])
    # Cauchy's formula; the mean of a smooth periodic function by the trapezoidal rule
    mean = np.mean(one.silhouette(np.arange(0, 180, 0.05)))
    assert mean == pytest.approx(one.perimeter_diameter, rel=1e-6)


@given(axes)
def test_the_perimeter_never_gives_less_than_the_area(pair):
    one = Ellipse(largest=pair[0], smallest=pair[1])
    assert one.perimeter_diameter >= one.area_diameter * (1 - 1e-12)
    assert one.smallest <= one.area_diameter <= one.mean * (1 + 1e-12) <= one.largest * (1 + 1e-12)


@given(axes, st.floats(0, 360))
def test_a_shadow_is_never_narrower_than_the_chord_in_its_direction(pair, turn):
    one = Ellipse(largest=pair[0], smallest=pair[1], orientation_deg=33.0)
    chord, shadow = float(one.chord(turn)), float(one.silhouette(turn))
    assert one.smallest * (1 - 1e-9) <= chord <= shadow * (1 + 1e-9)
    assert shadow <= one.largest * (1 + 1e-9)
    ratio = (pair[0] ** 2 + pair[1] ** 2) / (2 * pair[0] * pair[1])
    assert shadow / chord <= ratio * (1 + 1e-9)


@given(positives)
def test_a_circle_looks_the_same_from_everywhere(size):
    one = Ellipse(largest=size, smallest=size)
    for turn in (0, 17, 90):
        assert float(one.chord(turn)) == pytest.approx(size)
        assert float(one.silhouette(turn)) == pytest.approx(size)
    assert one.eccentricity == 0
    assert one.perimeter_diameter == pytest.approx(size)


@pytest.mark.parametrize(("long", "short"), [(10, 12), (10, 0), (math.inf, 1), (-1, -2)])
def test_what_is_no_ellipse_is_refused(long, short):
    with pytest.raises(ValueError, match="0 < smallest"):
        Ellipse(largest=long, smallest=short)
