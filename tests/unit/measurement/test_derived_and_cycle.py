"""Results of results, and one number over the cycle."""

import math

import numpy as np
import pytest

from annot.errors import InputError
from annot.geometry import PixelPoint
from annot.measurement import measure_caliper
from annot.measurement.cycle import over_cycle
from annot.measurement.derived import (
    change_percent,
    difference_of,
    mean_of,
    ovality_of,
    ratio_of,
)
from annot.measurement.phase import Phase, phase_at
from annot.uncertainty import stated
from tests.strategies import caliper, catheter_scale


def width(length_px, key="a", scale=None):
    points = (PixelPoint(100, 100), PixelPoint(100, 100 + length_px))
    return measure_caliper(
        caliper(key=key, points=points), scale or catheter_scale(), modality="XA"
    )


def scale_part(result):
    shares = result.shares()
    return math.sqrt(sum(shares.get(k, 0.0) for k in ("scale", "object", "depth"))) * result.u


def test_the_scale_cancels_in_ratios_and_stays_in_means():
    one, two = width(150).result, width(120, "b").result
    u_rel = catheter_scale().u_rel
    for result in (ratio_of(one, two), ovality_of(one, two), change_percent(one, two)):
        assert scale_part(result) == pytest.approx(0.0, abs=1e-6)
    mean = mean_of([one, two])
    assert scale_part(mean) == pytest.approx(u_rel * mean.value, rel=1e-6)
    # a difference keeps the scale in proportion to itself, not to the lengths
    difference = difference_of(one, two)
    assert scale_part(difference) == pytest.approx(u_rel * difference.value, rel=1e-6)


def test_a_mean_of_beats_halves_what_is_each_beat_s_own():
    scale = catheter_scale()
    beats = [width(150, f"b{n}", scale).result for n in range(4)]
    own = math.sqrt(beats[0].u ** 2 - scale_part(beats[0]) ** 2)
    mean = mean_of(beats)
    assert math.sqrt(mean.u**2 - scale_part(mean) ** 2) == pytest.approx(own / 2, rel=1e-6)


def test_ovality_is_none_for_a_circle_and_by_hand_for_an_oval():
    big, small = (stated(v, 0.1, key=str(v), unit="mm", source="") for v in (28.7, 21.5))
    assert ovality_of(big, small).value == pytest.approx(0.2509, abs=5e-5)
    assert ovality_of(big, big).value == 0.0
    assert ovality_of(big, big).u == pytest.approx(0.0, abs=1e-9)


def test_units_are_never_mixed_and_nothing_is_divided_by_zero():
    mm, px = (stated(1.0, 0.1, key=u, unit=u, source="") for u in ("mm", "px"))
    for combine in (ratio_of, difference_of, ovality_of, change_percent):
        with pytest.raises(InputError, match="one unit"):
            combine(mm, px)
    with pytest.raises(InputError, match="zero"):
        ratio_of(mm, stated(0.0, 0.1, key="z", unit="mm", source=""))
    with pytest.raises(InputError, match="none"):
        mean_of([])


# ---------------------------------------------------------------- phase and cycle
R_WAVES = (100.0, 1000.0, 2000.0)


@pytest.mark.parametrize(
    ("time", "beat", "percent"),
    [(50, -1, None), (100, 0, 0.0), (550, 0, 50.0), (1500, 1, 50.0), (2000, 2, None)],
)
def test_phase_is_the_part_of_the_beat_that_has_passed(time, beat, percent):
    assert phase_at(time, R_WAVES) == Phase(beat=beat, percent=percent)


def test_without_r_waves_there_is_no_phase_and_backward_ones_are_refused():
    assert phase_at(10.0, ()) is None
    with pytest.raises(InputError, match="forward"):
        phase_at(10.0, (5.0, 5.0))


def test_a_cycle_has_its_largest_and_smallest_with_phase_and_per_beat():
    scale = catheter_scale()
    times = np.arange(0, 2200, 250.0)
    lengths = [140 + 10 * math.sin(2 * math.pi * t / 1000) for t in times]
    found = over_cycle(
        [width(v, f"c{n}", scale) for n, v in enumerate(lengths)], times, r_waves_ms=R_WAVES
    )
    assert found.largest.measurement.result.value == max(
        width(v, scale=scale).result.value for v in lengths
    )
    assert [beat.beat for beat in found.beats] == [0, 1]
    assert found.beats[1].largest.phase == Phase(beat=1, percent=pytest.approx(25.0, abs=0.1))
    assert found.mean_largest is not None
    assert scale_part(found.change) == pytest.approx(0.0, abs=1e-6)
    assert any("reads high" in text for text in found.warnings)


def test_a_cycle_of_two_quantities_or_without_times_is_refused():
    with pytest.raises(InputError, match="1 measurements and 2 times"):
        over_cycle([width(100)], [0.0, 1.0])
    with pytest.raises(InputError, match="0 measurements"):
        over_cycle([], [])
