"""Compression against the nominal width, classes of gaps, changes between two tables."""

import math
from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import strategies as st
from uncertainties import ufloat

from annot.calibration import NoScale
from annot.geometry import PixelPoint
from annot.measurement import measure_caliper
from annot.measurement.after_implant import compression_of, gap_class_of
from annot.measurement.change import changes_between
from annot.measurement.measured_row import MeasuredRow
from annot.uncertainty import propagate, rectangular, stated
from annot.vocabulary import MEASURANDS
from annot.vocabulary.gap_schemes import GAP_SCHEMES
from tests.strategies import caliper, catheter_scale

MM = 2 / 12.4


def width(mm, scale=None):
    one = caliper(
        measurand=MEASURANDS["device_shoulder_width"],
        points=(PixelPoint(100.0, 50.0), PixelPoint(100.0, 50.0 + mm / MM)),
        u_end_px=0.8,
    )
    return measure_caliper(one, catheter_scale() if scale is None else scale, modality="XA")


def nominal(mm=25.0, half=0.2):
    return rectangular(mm, half, key="nominal", unit="mm", source="stated")


def test_a_compression_of_the_trades_own_example():
    # 25 mm seen as 21.5 mm is 14.000 %: arithmetic of the formula
    found = compression_of(width(21.5), nominal())
    assert found.result.value == pytest.approx(0.14, abs=1e-9)
    assert (found.outcome.name, found.result.unit) == ("device_shoulder_compression", "1")
    assert found.raw_value == pytest.approx(0.14, abs=1e-9)
    assert found.estimate.value == pytest.approx(0.14, abs=2e-3)
    assert found.interval.low < 0.14 < found.interval.high < 0.3


def test_its_uncertainty_is_that_of_another_library():
    seen = width(21.5)
    found = compression_of(seen, nominal())
    n, w = ufloat(25.0, 0.2 / math.sqrt(3)), ufloat(21.5, seen.result.u)
    assert found.result.u == pytest.approx(((n - w) / n).std_dev, rel=1e-4)


def test_a_device_wider_than_nominal_is_negative_and_odd():
    found = compression_of(width(28.0), nominal())
    assert found.result.value == pytest.approx(-0.12)
    assert any("usually lies" in text for text in found.warnings)


def test_only_a_devices_width_in_mm_is_compressed():
    with pytest.raises(ValueError, match="no compression"):
        compression_of(width(20.0, NoScale(reason="none")), nominal())
    other = replace(width(20.0), outcome=MEASURANDS["depth"].outcomes[0])
    with pytest.raises(ValueError, match="no compression"):
        compression_of(other, nominal())


def gap(value, u):
    one = stated(value, u, key="gap", unit="mm", component="ends", source="test")
    return propagate(lambda x: x, [one], unit="mm")


def test_exactly_five_has_another_class_by_each_scheme_and_even_odds_in_both():
    for name, of_value, least in (
        ("registry", "small", "large"),
        ("consensus", "failure", "failure"),
    ):
        found = gap_class_of(gap(5.0, 0.5), GAP_SCHEMES[name])
        assert found.of_value == of_value
        assert dict(found.probabilities)[least] == pytest.approx(0.5, abs=1e-6)
        assert GAP_SCHEMES[name].rule in found.words
        assert found.facts()["scheme"] == name


@given(st.floats(0.1, 12), st.floats(0.05, 3), st.sampled_from(sorted(GAP_SCHEMES)))
def test_the_classes_share_the_whole_probability(value, u, name):
    found = gap_class_of(gap(value, u), GAP_SCHEMES[name])
    assert sum(share for _, share in found.probabilities) == pytest.approx(1.0, abs=1e-9)


def row(value=22.0, u=0.5, **more):
    facts = {
        "study": "S",
        "quantity": "ostium_width",
        "reader": "A",
        "unit": "mm",
        "loop": "x",
        "modality": "US",
        "view_deg": 45.0,
        "scale_id": "one",
        "share_scale": 0.64,
        "conditions": "rhythm: sinus",
    }
    return MeasuredRow(value=value, u=u, **(facts | more))


def test_a_shared_scale_is_taken_out_of_the_change():
    [found] = changes_between([row()], [row(24.0)])
    # 64 % of either variance is shared: u² = 2·0.25 − 2·0.64·0.25
    assert found.difference.value == pytest.approx(2.0)
    assert found.difference.u == pytest.approx(math.sqrt(0.5 * 0.36), rel=1e-6)
    assert found.correlation == pytest.approx(0.64, rel=1e-6)
    assert found.warnings == ()
    [apart] = changes_between([row()], [row(24.0, scale_id="two")])
    assert apart.difference.u == pytest.approx(math.sqrt(0.5), rel=1e-6)
    assert apart.correlation == 0


def test_repeats_of_one_view_are_averaged_by_what_they_scatter():
    before = [row(21.0), row(23.0)]
    [found] = changes_between(before, [row(24.0, scale_id="two")])
    assert found.before.value == pytest.approx(22.0)
    assert found.difference.value == pytest.approx(2.0)
    # own scatter √2 over two readings, the shared 0.4 in full
    assert found.before.u == pytest.approx(math.hypot(math.sqrt(2 / 2), 0.4), rel=1e-3)


@pytest.mark.parametrize(
    "change",
    [
        {"view_deg": 90.0},
        {"view_deg": None},
        {"quantity": "depth"},
        {"modality": "XA"},
        {"unit": "px"},
        {"u": 0.0},
    ],
)
def test_only_the_same_quantity_in_the_same_view_is_paired(change):
    assert changes_between([row()], [row(**change)]) == ()
    assert len(changes_between([row()], [row(view_deg=50.0)])) == 1


def test_projections_are_paired_by_both_angles():
    facts = {"modality": "XA", "view_deg": None, "primary_deg": -30.0}
    one = row(**facts, secondary_deg=-20.0)
    assert len(changes_between([one], [row(**facts, secondary_deg=-25.0)])) == 1
    assert changes_between([one], [row(**facts, secondary_deg=15.0)]) == ()


def test_what_makes_a_comparison_doubtful_is_said():
    [found] = changes_between(
        [row()], [row(conditions="rhythm: not stated", reader="B", share_scale=None)]
    )
    text = " ".join(found.warnings)
    for words in ("different conditions", "not stated", "shared errors", "different readers"):
        assert words in text
