"""The sign table of tilt, every cell, against tilts drawn with NumPy.

| seen                                              | true            |
| a segment along the tilt (depth), both kinds: short| seen / cos     |
| X-ray, silhouette width: unchanged                | seen            |
| ultrasound plane oblique to the neck (width): long| seen · cos      |
"""

import math

import numpy as np
import pytest

from annot.measurement import measure_caliper
from annot.measurement.tilt import tilt_rule
from annot.vocabulary import MEASURANDS
from tests.strategies import caliper, plain_scale

EXACT = plain_scale(0.2, 1e-9)


def measured(name: str, modality: str, tilt_deg: float | None):
    one = caliper(measurand=MEASURANDS[name], tilt_deg=tilt_deg, u_end_px=1e-6, origin="refined")
    return measure_caliper(one, EXACT, modality=modality)


def cosines(tilt_deg: float) -> np.ndarray:
    rng = np.random.default_rng(11)
    return np.cos(np.deg2rad(rng.uniform(-tilt_deg, tilt_deg, 1_000_000)))


@pytest.mark.parametrize("modality", ["XA", "US"])
@pytest.mark.parametrize("tilt_deg", [10.0, 20.0, 30.0, 45.0, 60.0])
def test_a_depth_is_seen_short(tilt_deg, modality):
    found = measured("depth", modality, tilt_deg)
    true = found.raw_value / cosines(tilt_deg)
    assert found.result.value > found.raw_value == pytest.approx(20.0)
    assert found.result.value == pytest.approx(float(true.mean()), rel=2e-3)
    assert found.result.u == pytest.approx(float(true.std()), rel=5e-3)
    assert found.result.shares()["tilt"] == pytest.approx(1.0, abs=1e-6)


@pytest.mark.parametrize("name", ["ostium_width", "landing_zone_width"])
@pytest.mark.parametrize("tilt_deg", [10.0, 20.0, 30.0])
def test_width_in_an_echo_plane_is_seen_long(name, tilt_deg):
    found = measured(name, "US", tilt_deg)
    true = found.raw_value * cosines(tilt_deg)
    assert found.result.value < found.raw_value == pytest.approx(20.0)
    assert found.result.value == pytest.approx(float(true.mean()), rel=1e-4)
    assert found.result.u == pytest.approx(float(true.std()), rel=3e-3)


@pytest.mark.parametrize(
    ("name", "modality"),
    [
        ("ostium_width", "XA"),
        ("landing_zone_width", "XA"),
        ("distance", "XA"),
        ("distance", "US"),
    ],
)
def test_where_no_tilt_acts_a_stated_one_changes_nothing_and_says_so(name, modality):
    plain, tilted = measured(name, modality, None), measured(name, modality, 20.0)
    assert tilted.result.value == plain.result.value == pytest.approx(plain.raw_value)
    assert tilted.result.u == plain.result.u
    assert "the stated tilt has no effect on this length by the rules used here" in tilted.warnings
    assert not any("tilt" in one for one in plain.warnings)


@pytest.mark.parametrize(
    ("name", "modality", "way"),
    [
        ("depth", "XA", "short"),
        ("depth", "US", "short"),
        ("ostium_width", "US", "long"),
        ("landing_zone_width", "US", "long"),
    ],
)
def test_where_a_tilt_acts_and_is_not_stated_the_reader_is_told_which_way_it_errs(
    name, modality, way
):
    rule = tilt_rule(caliper(measurand=MEASURANDS[name]), modality)
    assert rule.factor is None
    assert rule.warnings == (
        f"tilt not stated and not in the interval: an oblique view reads {way}",
    )
    assert tilt_rule(caliper(measurand=MEASURANDS[name], tilt_deg=0.0), modality).warnings == ()


def test_a_tilt_is_one_caliper_s_own():
    keys = {
        tilt_rule(caliper(key=key, measurand=MEASURANDS["depth"], tilt_deg=10.0), "XA").factor.key
        for key in ("a", "b")
    }
    assert keys == {"a:tilt", "b:tilt"}


@pytest.mark.parametrize(
    ("degrees", "percent"), [(5, 0.382), (10, 1.543), (20, 6.418), (30, 15.47)]
)
def test_a_known_foreshortening_is_the_inverse_cosine(degrees, percent):
    """Geometry: 1/cos − 1, figures recomputed elsewhere."""
    assert 100 * (1 / math.cos(math.radians(degrees)) - 1) == pytest.approx(percent, abs=5e-4)
    found = measured("depth", "XA", float(degrees))
    # the whole range of the correction lies between none and the largest foreshortening
    assert 1.0 <= found.result.value / found.raw_value <= 1 + percent / 100
