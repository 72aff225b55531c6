"""What an unknown difference in depth does: magnification is SID / (SOD − h)."""

import math

import numpy as np
import pytest

from annot.calibration import Placing
from annot.calibration.depth import depth_ratio
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
    assert abs(exact_ratio - ratio.value) <= half_width * (1 + 1e-12)
    assert half_width == pytest.approx(abs(dz) / sod, rel=1e-12)


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


@pytest.mark.parametrize("half_range", [750.0, 2000.0])
def test_a_depth_that_reaches_the_source_is_refused(half_range):
    with pytest.raises(InputError, match=r"xa.dcm: .* reaches the source, 750 mm away"):
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


@pytest.mark.parametrize("name", ["positioner", "table"])
def test_what_moves_in_the_loop_is_said(name):
    found = depth_ratio(
        header(xray=view(**{f"{name}_motion": "DYNAMIC"})), Placing(depth_offset_mm=5.0), key="k"
    )
    assert found.warnings == (
        f"the {name} moves during the loop: a scale made on one frame may not hold on another",
    )


def test_one_depth_scales_every_length_alike():
    ratio = depth_ratio(header(), Placing(), key="k").quantity
    size = stated(0.2, 0.001, key="s", unit="mm/px", source="")
    scale = propagate(lambda s, r: s * r, [size, ratio], unit="mm/px")
    assert scale.u / scale.value == pytest.approx(math.hypot(0.005, ratio.u), rel=1e-6)
