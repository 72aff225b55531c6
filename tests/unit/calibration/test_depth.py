"""What an unknown difference in depth does: magnification is SID / (SOD − h)."""

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from annot.calibration import Placing, all_depth_presets
from annot.calibration.depth import depth_law, depth_ratio
from annot.errors import InputError
from annot.uncertainty import propagate, stated
from tests.strategies import echo_header, header, view

# Percent by which an object reads large when nearer the source than the reference by Δz (mm):
# geometry, recomputed elsewhere. SID cancels.
READS = {
    750.0: {10: 1.351, 20: 2.740, 50: 7.143, -10: -1.316, -20: -2.597, -50: -6.250},
    700.0: {10: 1.449, 20: 2.941, -20: -2.778},
}
CASES = [(sod, dz, percent) for sod, row in READS.items() for dz, percent in row.items()]


@pytest.mark.parametrize(("sod", "dz", "percent"), CASES)
def test_an_object_off_the_references_depth_reads_by_the_exact_law(sod, dz, percent):
    assert 100 * (sod / (sod - dz) - 1) == pytest.approx(percent, abs=5e-4)


@pytest.mark.parametrize(("sod", "dz", "percent"), CASES)
def test_the_ratio_takes_that_back_and_lies_within_its_half_range(sod, dz, percent):
    """True = seen × (SOD − h of the anatomy)/(SOD − h of the object), the object at h = 0."""
    exact_ratio = (sod - dz) / sod
    assert (1 + percent / 100) * exact_ratio == pytest.approx(1.0, abs=1e-5)
    ratio = depth_ratio(
        header(xray=view(source_to_patient_mm=sod)), Placing(depth_offset_mm=abs(dz)), key="k"
    ).quantity
    half_width = ratio.u * math.sqrt(3)
    # the exact law goes through propagation, whose slopes are central differences
    assert abs(exact_ratio - ratio.value) <= half_width * (1 + 1e-8)
    assert half_width == pytest.approx(abs(dz) / sod, rel=1e-8)


def test_first_order_agrees_with_depths_drawn_at_random():
    """Outside reference: NumPy draws of the exact law, anatomy's depth uniform in ±20 mm."""
    drawn = (750 - np.random.default_rng(5).uniform(-20, 20, 1_000_000)) / 750
    ratio = depth_ratio(header(), Placing(depth_offset_mm=20.0), key="k").quantity
    assert ratio.value == pytest.approx(float(drawn.mean()), abs=1e-4)
    assert ratio.u == pytest.approx(float(drawn.std()), rel=2e-3)
    # JCGM 100 4.3.7: 20/750/√3 = 1.540 %
    assert 100 * ratio.u == pytest.approx(1.540, abs=5e-4)


def test_an_unstated_depth_takes_the_default_and_says_so():
    found = depth_ratio(header(), Placing(), key="k")
    assert found.quantity.u == pytest.approx(20 / 750 / math.sqrt(3))
    assert found.warnings == (
        "difference in depth between reference and anatomy not stated: ±20 mm assumed (common "
        "practice, no source: reference within 2 cm of the anatomy along the beam)",
    )


def test_a_stated_depth_needs_no_warning_and_none_is_exact():
    stated_depth = depth_ratio(header(), Placing(depth_offset_mm=5.0), key="k")
    assert stated_depth.warnings == ()
    same = depth_ratio(header(), Placing(depth_offset_mm=0.0), key="k")
    assert (same.quantity.value, same.quantity.u) == (1.0, 0.0)
    assert same.group == "k:depth"


@pytest.mark.parametrize(
    "distances",
    [
        {"source_to_patient_mm": None},
        # not shorter than the way to the detector: the header contradicts itself
        {"source_to_patient_mm": 1000.0},
        {"source_to_patient_mm": 90_000.0},
    ],
)
def test_a_missing_or_contradictory_distance_takes_the_short_default(distances):
    """A far source would make the depth term vanish: the safe side is the near one."""
    found = depth_ratio(header(xray=view(**distances)), Placing(depth_offset_mm=20.0), key="k")
    assert found.quantity.u == pytest.approx(20 / 700 / math.sqrt(3))
    assert any("no usable distance from source to patient" in one for one in found.warnings)


def test_the_same_depth_needs_no_distance():
    near = header(xray=view(source_to_patient_mm=15.0))
    assert depth_ratio(near, Placing(depth_offset_mm=0.0), key="k").quantity.value == 1.0


@pytest.mark.parametrize("half_range", [650.0, 750.0, 2000.0])
def test_a_depth_that_reaches_the_source_is_refused(half_range):
    with pytest.raises(InputError, match=r"xa.dcm: .* reaches the source, .* 650 mm from"):
        depth_ratio(header(), Placing(depth_offset_mm=half_range), key="k")


def test_ultrasound_has_no_such_factor():
    found = depth_ratio(echo_header(), Placing(depth_offset_mm=20.0), key="k")
    assert found.quantity.u == 0.0
    assert found.group is None


def test_a_screen_capture_of_a_projection_has_one_although_its_header_is_silent():
    found = depth_ratio(header(modality="OT", xray=None), Placing(), key="k")
    assert found.quantity.u == pytest.approx(20 / 700 / math.sqrt(3))
    assert found.group is not None
    assert len(found.warnings) == 2


def test_a_table_that_moves_nobody_knows_where_to_is_said():
    found = depth_ratio(
        header(xray=view(table_motion="DYNAMIC")), Placing(depth_offset_mm=5.0), key="k"
    )
    assert found.warnings == (
        "the table moves during the loop and the header does not say by how much: a scale made on "
        "one frame may not hold on another",
    )


# ---------------------------------------------------------------- the law and its ranges
@given(st.floats(300.0, 1200.0), st.floats(-100.0, 100.0), st.floats(-100.0, 100.0))
def test_the_law_is_the_ratio_of_two_magnifications(sod, object_h, anatomy_h):
    """M = SID / (SOD − h) for both, SID cancels: no linearisation anywhere."""
    sid = 1100.0
    seen_large = (sid / (sod - anatomy_h)) / (sid / (sod - object_h))
    factor = float(depth_law(np.float64(sod - object_h), np.float64(anatomy_h - object_h)))
    assert factor * seen_large == pytest.approx(1.0, rel=1e-12)


def test_a_range_to_one_side_moves_the_scale_and_says_so():
    """A ball on the skin 40 to 120 mm nearer the detector: 80 mm in the middle, 670/750."""
    placing = Placing(depth_range_mm=(40.0, 120.0))
    found = depth_ratio(header(), placing, key="k", off_isocentre=False)
    assert found.quantity.value == pytest.approx(670 / 750)
    assert found.quantity.u == pytest.approx(40 / 750 / math.sqrt(3))
    assert found.warnings == (
        "the scale is corrected for the anatomy lying 80 mm nearer to the source than its "
        "reference, the middle of 40 to 120 mm",
    )
    other = depth_ratio(header(), Placing(depth_range_mm=(-120.0, -40.0)), key="k")
    assert other.quantity.value == pytest.approx(830 / 750)
    assert "farther from the source" in other.warnings[0]


def test_a_range_to_one_side_needs_the_references_own_distance():
    """JCGM 101 by hand: 10⁶ draws of both, the exact law, against the first order."""
    placing = Placing(depth_range_mm=(40.0, 120.0))
    found = depth_ratio(header(), placing, key="k")
    draw = np.random.default_rng(3)
    drawn = depth_law(draw.uniform(650, 850, 1_000_000), draw.uniform(40, 120, 1_000_000))
    assert found.quantity.value == pytest.approx(float(drawn.mean()), rel=2e-3)
    assert found.quantity.u == pytest.approx(float(drawn.std()), rel=2e-2)
    exact_distance = depth_ratio(header(), placing, key="k", off_isocentre=False)
    assert found.quantity.u > exact_distance.quantity.u


def test_a_known_difference_is_exact_but_for_the_distance():
    found = depth_ratio(header(), Placing(depth_range_mm=(20.0, 20.0)), key="k")
    assert found.quantity.value == pytest.approx(730 / 750)
    assert {line.input.key for line in found.quantity.lines if line.contribution} == {
        "k:depth:source"
    }


@pytest.mark.parametrize("name", sorted(all_depth_presets()))
def test_every_preset_has_its_numbers_its_meaning_and_its_source(name):
    preset = all_depth_presets()[name]
    assert preset.low < preset.high
    assert "memory" in preset.source or "no source" in preset.source
    found = depth_ratio(header(), Placing(depth_preset=name), key="k")
    assert f"depth by the preset '{name}'" in found.warnings[0]
    assert preset.meaning in found.warnings[0]
    assert (found.quantity.value == 1.0) == (preset.low == -preset.high)


@pytest.mark.parametrize(
    ("fields", "words"),
    [
        ({"depth_offset_mm": 5.0, "depth_preset": "beside"}, "in two ways"),
        ({"depth_offset_mm": 5.0, "depth_range_mm": (0.0, 1.0)}, "in two ways"),
        ({"depth_range_mm": (10.0, -10.0)}, "10 to -10 mm runs backwards"),
        ({"depth_preset": "elsewhere"}, "no preset of depth 'elsewhere': choose one of beside"),
    ],
)
def test_depth_is_stated_once_and_forwards(fields, words):
    with pytest.raises(InputError, match=words):
        Placing(**fields)


def test_one_depth_scales_every_length_alike():
    ratio = depth_ratio(header(), Placing(), key="k").quantity
    size = stated(0.2, 0.001, key="s", unit="mm/px", source="")
    scale = propagate(lambda s, r: s * r, [size, ratio], unit="mm/px")
    assert scale.u / scale.value == pytest.approx(math.hypot(0.005, ratio.u), rel=1e-6)
