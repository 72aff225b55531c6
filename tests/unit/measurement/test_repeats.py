"""A reader's repeats: pooled, each set used once, and believed only when there are enough."""

import math
from dataclasses import replace

import numpy as np
import pytest

from annot.measurement import Known, measure_caliper
from annot.measurement.repeats import Reading, evidence_of
from annot.uncertainty import coverage_factor
from tests.strategies import caliper, plain_scale

SUBJECT = ("landing_zone_width", "XA", "mm")


def reading(value, *, repeat, frame=3, loop="a.dcm", **more):
    return Reading(
        outcome=SUBJECT[0],
        modality=SUBJECT[1],
        unit=SUBJECT[2],
        loop=loop,
        frame=frame,
        value=value,
        repeat=repeat,
        **more,
    )


def group(values, **more):
    return [reading(value, repeat=n + 1, **more) for n, value in enumerate(values)]


def test_repeats_on_one_frame_are_pooled_within_their_groups():
    """By hand: squares 0.5, 2, 4.5 and 2 over 1 + 1 + 1 + 2 degrees of freedom."""
    readings = [
        *group([20.0, 21.0]),
        *group([30.0, 32.0], loop="b.dcm"),
        *group([25.0, 28.0], loop="c.dcm"),
        *group([22.0, 23.0, 24.0], loop="d.dcm"),
    ]
    evidence = evidence_of(readings)
    scatter = evidence.placing[SUBJECT]
    assert scatter.sd == pytest.approx(math.sqrt((0.5 + 2 + 4.5 + 2) / 5))
    assert (scatter.dof, scatter.readings, scatter.groups) == (5, 9, 4)
    assert not evidence.frame


def test_repeats_with_free_frames_feed_the_choice_of_frame_and_nothing_else():
    readings = [reading(20.0 + n % 2, repeat=n + 1, frame=n) for n in range(6)]
    evidence = evidence_of(readings)
    assert not evidence.placing
    assert evidence.frame[SUBJECT].whole
    assert evidence.frame[SUBJECT].sd == pytest.approx(np.std([0, 1] * 3, ddof=1))


def test_a_mixed_set_feeds_placing_only():
    mixed = [
        *group([20.0, 20.4, 20.8, 21.0, 20.1]),
        reading(25.0, repeat=6, frame=9),
    ]
    evidence = evidence_of(mixed)
    assert SUBJECT in evidence.placing
    assert not evidence.frame
    assert evidence.placing[SUBJECT].sd == pytest.approx(
        np.std([20.0, 20.4, 20.8, 21.0, 20.1], ddof=1)
    )


def test_placing_is_taken_out_of_the_choice_of_frame():
    same = group([20.0, 20.6, 19.4, 20.3, 19.7, 20.0])
    free = [reading(20.0 + 2 * (-1) ** n, repeat=n + 1, frame=n, loop="b.dcm") for n in range(6)]
    evidence = evidence_of([*same, *free])
    s_place = np.std([20.0, 20.6, 19.4, 20.3, 19.7, 20.0], ddof=1)
    s_free = np.std([22.0, 18.0] * 3, ddof=1)
    left = evidence.frame[SUBJECT]
    assert left.sd == pytest.approx(math.sqrt(s_free**2 - s_place**2))
    assert not left.whole
    # Satterthwaite, by hand
    assert left.dof == pytest.approx(left.sd**4 / (s_free**4 / 5 + s_place**4 / 5))


def test_frames_that_differ_without_repeat_numbers_are_no_repeats():
    moments = [reading(20.0 + n, repeat=1, frame=n) for n in range(8)]
    evidence = evidence_of(moments)
    assert not evidence.placing
    assert not evidence.frame


@pytest.mark.parametrize("field", ["view_deg", "beat", "moment", "loop"])
def test_other_targets_are_never_repeats_of_each_other(field):
    other = {"view_deg": 45.0, "beat": 2, "moment": "largest", "loop": "z.dcm"}[field]
    readings = [
        reading(20.0 + n, repeat=n + 1, **({field: other} if n % 2 else {})) for n in range(2)
    ]
    assert not evidence_of(readings).placing


def test_too_few_or_identical_repeats_are_not_believed_and_say_so():
    few = evidence_of(group([20.0, 21.0]))
    assert not few.placing
    assert "too few" in few.notes[SUBJECT]
    same = evidence_of(group([20.0] * 7))
    assert not same.placing
    assert "identical" in same.notes[SUBJECT]


# ---------------------------------------------------------------- in a budget
def scatters(placing=None, free=None):
    evidence = evidence_of([*(group(placing) if placing else []), *(free or [])])
    return Known(placing=evidence.placing.get(SUBJECT), frame=evidence.frame.get(SUBJECT))


VALUES = [20.0, 20.5, 19.5, 20.2, 19.8, 20.1]


def test_each_end_has_the_scatter_over_root_two_and_its_degrees_of_freedom():
    known = scatters(VALUES)
    measured = measure_caliper(caliper(), plain_scale(0.2, 1e-9), modality="XA", known=known)
    s_w = float(np.std(VALUES, ddof=1))
    assert measured.result.u == pytest.approx(s_w, rel=1e-6)
    u_end = s_w / math.sqrt(2)
    assert measured.result.u == pytest.approx(math.hypot(u_end, u_end), rel=1e-6)
    assert measured.result.dof == pytest.approx(5)
    assert measured.interval.high - measured.interval.low == pytest.approx(
        2 * coverage_factor(5) * s_w, rel=1e-3
    )


def test_what_the_read_states_goes_before_its_repeats():
    known = scatters(VALUES)
    stated = caliper(u_end_px=0.8)
    with_repeats, without = (
        measure_caliper(stated, plain_scale(), modality="XA", known=one).result
        for one in (known, None)
    )
    assert with_repeats.u == without.u


@pytest.mark.parametrize("origin", ["tracked", "refined"])
def test_a_hand_s_repeats_say_nothing_of_ends_that_no_hand_placed(origin):
    one = caliper(origin=origin)
    known = scatters(VALUES)
    plain = measure_caliper(one, plain_scale(), modality="XA").result
    assert measure_caliper(one, plain_scale(), modality="XA", known=known).result.u == plain.u


def test_free_repeats_alone_stand_for_frame_and_placing_once():
    free = [reading(value, repeat=n + 1, frame=n) for n, value in enumerate(VALUES)]
    known = scatters(free=free)
    measured = measure_caliper(caliper(), plain_scale(0.2, 1e-9), modality="XA", known=known)
    assert measured.result.u == pytest.approx(float(np.std(VALUES, ddof=1)), rel=1e-6)
    assert measured.result.shares()["other"] == pytest.approx(1.0, abs=1e-6)


def test_placing_and_frame_add_where_both_are_known():
    free = [reading(20 + 2 * (-1) ** n, repeat=n + 1, frame=n, loop="b.dcm") for n in range(6)]
    known = scatters(VALUES, free)
    measured = measure_caliper(caliper(), plain_scale(0.2, 1e-9), modality="XA", known=known)
    # together they are the scatter of the free repeats: nothing is counted twice
    assert measured.result.u == pytest.approx(float(np.std([22.0, 18.0] * 3, ddof=1)), rel=1e-6)
    assert replace(known, frame=None) != known
