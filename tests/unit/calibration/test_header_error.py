"""Whose error a header's spacing carries: loops of one system share a part of it."""

import math

import numpy as np
import pytest

from annot.calibration import HeaderRequest, PixelScale, header_scale
from annot.calibration.allowances import (
    FIDUCIAL_REL,
    GEOMETRY_REL,
    OWN_PART,
    SHARED_PART,
    ULTRASOUND_REL,
    UNKNOWN_METHOD_REL,
)
from annot.geometry import PixelPoint
from annot.uncertainty import covariance, propagate
from tests.strategies import echo_header, header, region, view

MIDDLE = (PixelPoint(200.0, 300.0), PixelPoint(260.0, 320.0))


def scale(its_header, request=None) -> PixelScale:
    found = header_scale(its_header, request or HeaderRequest()).at(MIDDLE)
    assert isinstance(found, PixelScale), found
    return found


def echoes(count=4, *, system="5e5e5e5e", uid="1.2", **changes) -> list[PixelScale]:
    """Scales of several loops of one echo machine, at depths of their own."""
    loops = [
        echo_header(
            region(delta_x=0.02 + 0.001 * n, delta_y=0.02 + 0.001 * n),
            sop_instance_uid=f"{uid}.{n}",
            system=system,
        )
        for n in range(count)
    ]
    return [scale(one, HeaderRequest(**changes)) for one in loops]


def correlation(first: PixelScale, second: PixelScale) -> float:
    return covariance(first.row, second.row) / (first.row.u * second.row.u)


def test_the_two_parts_make_the_whole_allowance():
    """0.8² + 0.6² = 1, so a single loop is as uncertain as the allowance says."""
    assert math.hypot(SHARED_PART.value, OWN_PART.value) == pytest.approx(1.0)
    for one in echoes(1):
        assert one.u_rel == pytest.approx(ULTRASOUND_REL.value / math.sqrt(3), rel=1e-6)
        assert one.row.shares() == pytest.approx({"scale": 0.36, "system": 0.64}, rel=1e-6)


def test_four_loops_of_one_echo_machine_share_its_error():
    first, *others = echoes()
    assert len({one.key for one in (first, *others)}) == 4
    assert {one.system_id for one in others} == {first.system_id} == {"system-5e5e5e5e:ultrasound"}
    for other in others:
        assert correlation(first, other) == pytest.approx(0.64, rel=1e-6)


def test_a_mean_over_the_loops_does_not_average_the_machine_away():
    """By hand: u_rel of a mean of four equal lengths is √(0.64 + 0.36/4) of one's, not a half."""
    scales = echoes()
    mean = propagate(
        lambda *sizes: (
            sum(size / one.row.value for size, one in zip(sizes, scales, strict=True)) / 4
        ),
        [one.row for one in scales],
        unit="1",
    )
    assert mean.u / scales[0].u_rel == pytest.approx(math.sqrt(0.64 + 0.36 / 4), rel=1e-6)


def test_a_ratio_of_two_loops_of_one_machine_is_free_of_it():
    first, second, *_ = echoes()
    ratio = propagate(lambda one, other: one / other, [first.row, second.row], unit="1")
    own = OWN_PART.value * ULTRASOUND_REL.value / math.sqrt(3)
    assert ratio.u / ratio.value == pytest.approx(math.sqrt(2) * own, rel=1e-5)


def test_draws_of_machines_and_loops_scatter_as_the_budget_says():
    """Outside reference: NumPy draws of both parts, ten thousand machines of four loops."""
    draw = np.random.default_rng(11)
    limit = ULTRASOUND_REL.value
    machine = draw.uniform(-0.8 * limit, 0.8 * limit, (10_000, 1))
    own = draw.uniform(-0.6 * limit, 0.6 * limit, (10_000, 4))
    drawn = (1 + machine) * (1 + own)
    first, second, *_ = echoes()
    assert float(drawn[:, 0].std()) == pytest.approx(first.u_rel, rel=0.02)
    assert float(np.corrcoef(drawn.T)[0, 1]) == pytest.approx(correlation(first, second), abs=0.02)


def test_loops_of_two_machines_share_nothing():
    [one], [other] = echoes(1), echoes(1, system="0a0a0a0a", uid="1.3")
    assert covariance(one.row, other.row) == 0


def test_a_loop_of_nobody_knows_which_machine_shares_nothing():
    first, second, *_ = echoes(system="")
    assert first.system_id is None
    assert covariance(first.row, second.row) == 0
    assert set(first.row.shares()) == {"scale"}
    assert first.u_rel == pytest.approx(ULTRASOUND_REL.value / math.sqrt(3), rel=1e-6)


def test_an_uncertainty_that_a_person_states_is_the_machines():
    """Whoever states one has tested a machine on a phantom, not each of its loops."""
    first, second, *_ = echoes(u_rel=0.01)
    assert first.u_rel == pytest.approx(0.01, rel=1e-6)
    assert correlation(first, second) == pytest.approx(1.0, rel=1e-6)
    other = echoes(uid="1.3", u_rel=0.02)[0]
    assert covariance(first.row, other.row) == 0
    assert first.system_id != other.system_id


def angiography(uid: str, *, system="5e5e5e5e", **changes) -> PixelScale:
    return scale(header(sop_instance_uid=uid, system=system, xray=view(**changes)))


def test_projections_of_one_stand_share_its_distances():
    first, second = angiography("1.1"), angiography("1.2", primary_deg=40.0)
    shared = (SHARED_PART.value * GEOMETRY_REL.value / math.sqrt(3)) ** 2
    assert covariance(first.row, second.row) / (first.row.value * second.row.value) == (
        pytest.approx(shared, rel=1e-5)
    )
    assert first.depth_group != second.depth_group


def test_one_act_of_calibration_is_shared_by_the_loops_it_was_written_into():
    same = {"calibration_type": "FIDUCIAL", "pixel_spacing_mm": (0.16, 0.16)}
    first, second = angiography("1.1", **same), angiography("1.2", **same)
    assert first.system_id == second.system_id
    assert covariance(first.row, second.row) > 0
    other = angiography("1.3", **(same | {"pixel_spacing_mm": (0.17, 0.17)}))
    assert covariance(first.row, other.row) == 0


@pytest.mark.parametrize(
    ("changes", "allowance"),
    [
        ({}, GEOMETRY_REL),
        ({"calibration_type": "GEOMETRY", "pixel_spacing_mm": (0.16, 0.16)}, GEOMETRY_REL),
        ({"calibration_type": "FIDUCIAL", "pixel_spacing_mm": (0.16, 0.16)}, FIDUCIAL_REL),
        ({"pixel_spacing_mm": (0.16, 0.16)}, UNKNOWN_METHOD_REL),
        ({"object_spacing_mm": (0.16, 0.16)}, GEOMETRY_REL),
    ],
)
def test_every_part_of_a_budget_names_its_source(changes, allowance):
    lines = [
        line for line in angiography("1.1", **changes).row.lines if line.input.component != "depth"
    ]
    assert {line.input.component for line in lines} == {"scale", "system"}
    assert math.hypot(*(line.contribution for line in lines)) == pytest.approx(
        angiography("1.1", **changes).row.value * allowance.value / math.sqrt(3), rel=1e-5
    )
    for line in lines:
        assert allowance.source in line.input.source
        assert allowance.meaning in line.input.source


def test_a_distortion_that_the_header_states_is_a_part_of_its_own():
    """Geometric Maximum Distortion (0028,9445): no place is off by more than 3 %."""
    plain, bent = angiography("1.1"), angiography("1.1", distortion_percent=3.0)
    assert bent.u_rel == pytest.approx(math.hypot(plain.u_rel, 0.03 / math.sqrt(3)), rel=1e-4)
    assert any("distortion up to ± 3 %" in line.input.source for line in bent.row.lines)
