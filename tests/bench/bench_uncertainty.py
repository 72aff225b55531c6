"""The bars of the uncertainty engine, each a ratio of two works that alternate in one run.

Times are of the processor, not of the clock: all of it is one thread of arithmetic, and a busy
machine would measure its other guests.
"""

import itertools
import math
import statistics
import subprocess
import sys
import time
from collections.abc import Callable
from pathlib import Path

import GTC
import numpy as np
import pytest

from annot.measurement import measure_caliper
from annot.uncertainty import InputColumn, propagate_column, simulate
from annot.uncertainty.quantity import gather
from tests.bench.bench_bars import _note
from tests.strategies import caliper, catheter_scale

DRAWS = 1_000_000
DRAWING_RATIO = 1.4
MEMORY_BYTES = 100e6
CALIPERS = 1000
GTC_RATIO = 50.0


def _seconds(work: Callable[[], object]) -> float:
    start = time.process_time()
    work()
    return time.process_time() - start


def full_model():
    """One caliper with everything: object, its trace, depth, ends, pixel grid, tilt."""
    measured = measure_caliper(caliper(tilt_deg=20.0), catheter_scale(), modality="US")
    return measured.result


def numpy_draws(inputs) -> None:
    """Draw each input by numpy's own call for its distribution, all values at once."""
    rng = np.random.Generator(np.random.SFC64(1))
    for one in inputs:
        if math.isfinite(one.dof):
            rng.standard_t(one.dof, DRAWS)
        elif one.distribution == "normal":
            rng.normal(one.value, one.u, DRAWS)
        elif one.distribution == "cosine of tilt":
            rng.uniform(0.0, one.parameters[0], DRAWS)
        else:
            reach = one.u * math.sqrt(3)
            rng.uniform(one.value - reach, one.value + reach, DRAWS)


def bench_a_million_draws_of_a_caliper_cost_little_more_than_their_random_numbers():
    result = full_model()
    inputs = [one for one in gather([result]).values() if one.distribution != "exact"]
    works = [lambda: numpy_draws(inputs), lambda: simulate(result, draws=DRAWS)]
    times = [[_seconds(work) for work in works] for _ in range(23)][2:]
    drawn_s, own_s = (statistics.median(column) for column in zip(*times, strict=True))
    ratio = statistics.median(own / drawn for drawn, own in times)
    _note(
        f"1e6 draws of {len(inputs)} inputs: {own_s * 1e3:.0f} ms with model and interval, numpy's "
        f"SFC64 alone {drawn_s * 1e3:.0f} ms, ×{ratio:.2f}"
    )
    assert ratio <= DRAWING_RATIO


_SIMULATING = """
import sys
sys.path.insert(0, sys.argv[1])
from tests.bench.bench_uncertainty import DRAWS, full_model
from annot.uncertainty import simulate

def resident(name):
    for line in open("/proc/self/status"):
        if line.startswith(name):
            return int(line.split()[1]) * 1024

result = full_model()
simulate(result, draws=20_000)
before = resident("VmRSS")
simulate(result, draws=int(sys.argv[2]))
print(resident("VmHWM") - before)
"""


@pytest.mark.skipif(not Path("/proc/self/status").exists(), reason="needs Linux's /proc")
@pytest.mark.parametrize("draws", [DRAWS, 4 * DRAWS])
def bench_memory_of_drawing(draws):
    root = str(Path(__file__).parents[2])
    ran = subprocess.run(
        [sys.executable, "-c", _SIMULATING, root, str(draws)],
        capture_output=True, text=True, check=True,
    )  # fmt: skip
    grown = int(ran.stdout)
    _note(f"{draws:.0e} draws: {grown / 1e6:.1f} MB beyond the process before them")
    assert grown <= MEMORY_BYTES


def columns(rng):
    """Place ends of calipers of some 100 px, each with placing and pixel grid."""
    first = rng.uniform(100, 300, (CALIPERS, 2))
    second = first + rng.uniform(40, 90, (CALIPERS, 2))
    words = {"unit": "px", "component": "ends"}
    return [
        column
        for name, values in zip("abcd", np.hstack([first, second]).T, strict=True)
        for column in (
            InputColumn(key=name, values=values, u=1.0, **words),
            InputColumn(
                key=f"{name}:pixel", values=np.zeros(CALIPERS), u=0.5 / math.sqrt(3),
                distribution="rectangular", **words,
            ),
        )
    ]  # fmt: skip


def lengths(scale, *ends):
    a, b, c, d = (ends[n] + ends[n + 1] for n in range(0, 8, 2))
    return np.sqrt((c - a) ** 2 + (d - b) ** 2) * scale


def by_annot(own):
    found = propagate_column(lengths, [catheter_scale().row], own, unit="mm")
    return found, found.u, found.dof, found.shares(), found.variance_parts(), found.covariance()


def by_gtc(own):
    scale_inputs = {}
    for line in catheter_scale().row.lines:
        one = line.input
        scale_inputs[one.key] = GTC.ureal(one.value, one.u, one.dof, label=one.key)
    size, seen, depth = scale_inputs.values()
    scale = size / seen * depth
    results, inputs = [], []
    for row in range(CALIPERS):
        ends = [GTC.ureal(float(one.values[row]), float(one.u[row])) for one in own]
        a, b, c, d = (ends[n] + ends[n + 1] for n in range(0, 8, 2))
        results.append(GTC.sqrt((c - a) ** 2 + (d - b) ** 2) * scale)
        inputs.append([size, seen, depth, *ends])
    budgets = [
        (one.u, one.df, [GTC.reporting.u_component(one, x) for x in own_inputs])
        for one, own_inputs in zip(results, inputs, strict=True)
    ]
    matrix = np.diag([one.u**2 for one in results])
    for i, j in itertools.combinations(range(CALIPERS), 2):
        matrix[i, j] = matrix[j, i] = GTC.get_covariance(results[i], results[j])
    return results, budgets, matrix


def bench_a_thousand_calipers_under_one_scale():
    own = columns(np.random.default_rng(6))
    start = time.process_time()
    results, budgets, matrix = by_gtc(own)
    gtc_s = time.process_time() - start
    own_s = statistics.median(_seconds(lambda: by_annot(own)) for _ in range(21))
    found, u, dof, _, parts, covariance = by_annot(own)
    # the same work: the same numbers
    assert found.values == pytest.approx([one.x for one in results], rel=1e-12)
    assert u == pytest.approx([row[0] for row in budgets], rel=1e-8)
    assert dof == pytest.approx([row[1] for row in budgets], rel=1e-6)
    assert parts == pytest.approx(np.array([row[2] for row in budgets]) ** 2, rel=1e-6, abs=1e-12)
    assert covariance == pytest.approx(matrix, rel=1e-7)
    ratio = gtc_s / own_s
    _note(
        f"{CALIPERS} calipers, budgets, dof, {CALIPERS}² covariances: {own_s * 1e3:.1f} ms, "
        f"GTC {gtc_s:.1f} s, ×{ratio:.0f} faster"
    )
    assert ratio >= GTC_RATIO
