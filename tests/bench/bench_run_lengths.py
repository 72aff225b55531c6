"""Seeded drifts in simulated archives against theory, for every chart, limits from phase I each.

2,000 archives for each drift, 10,000 in control; `make bench` prints one line for each and fails
where the mean run length is more than 10 % off. The baseline has 100 checks: with 30 the mean of a
chart of limits alone is decided by a few archives of very wide limits, so that 2,000 do not tell it
within 10 %; there the share of archives that speak within 100 checks is compared instead.
"""

import sys

import numpy as np
import pytest

from annot.quality import alarm_probability, run_length_from_baseline, simulated_run_lengths

ARCHIVES, IN_CONTROL, BASELINE = 2000, 10_000, 100
WITHIN = 0.10
DRIFTS = (0.5, 1.0, 1.5, 2.0, 3.0)
CHARTS = ("individuals", "rules", "weighted", "sums")


def say(text: str) -> None:
    assert sys.__stdout__ is not None
    sys.__stdout__.write(f"\n  {text}")


@pytest.mark.parametrize("chart", CHARTS)
def bench_drifts_and_false_alarms(chart):
    worst = 0.0
    for drift in (0.0, *DRIFTS):
        archives = ARCHIVES if drift else IN_CONTROL
        rng = np.random.default_rng([7, CHARTS.index(chart), int(10 * drift)])
        expected = run_length_from_baseline(drift, baseline=BASELINE, chart=chart)
        counted = simulated_run_lengths(
            drift, baseline=BASELINE, chart=chart, archives=archives, rng=rng
        )
        off = float(counted.mean() / expected - 1)
        u = float(counted.std() / np.sqrt(archives) / expected)
        say(
            f"{chart:12} drift {drift:3.1f} sigma, {archives:6} archives: theory {expected:7.2f}, "
            f"counted {counted.mean():7.2f}, {100 * off:+5.1f} % (u {100 * u:.1f} %)"
        )
        worst = max(worst, abs(off))
    assert worst <= WITHIN


def bench_false_alarms_after_a_short_baseline():
    rng = np.random.default_rng(8)
    for drift in (0.0, 1.0):
        counted = simulated_run_lengths(
            drift, baseline=30, chart="individuals", archives=IN_CONTROL, rng=rng
        )
        share, expected = (
            float(np.mean(counted <= 100)),
            alarm_probability(drift, baseline=30, points=100),
        )
        say(
            f"baseline of 30, drift {drift:.0f}: spoken within 100 checks {share:.3f}, theory "
            f"{expected:.3f}"
        )
        assert share == pytest.approx(expected, rel=WITHIN)
