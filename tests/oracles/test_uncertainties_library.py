"""The library `uncertainties` (BSD-3, automatic differentiation) on the same caliper budgets."""

import itertools
import math

import numpy as np
import pytest
import uncertainties
from hypothesis import given
from uncertainties import umath

from annot.measurement import measure_caliper
from annot.uncertainty import (
    covariance,
    covariance_matrix,
    from_simultaneous_repeats,
    propagate_outputs,
)
from annot.vocabulary import MEASURANDS
from tests.strategies import caliper, catheter_scale, paths
from tests.worked_examples.checks import with_check

U_END, GRID = 1.0, 0.5 / math.sqrt(3)


def budget_of_the_scale():
    """Return mm per pixel with the inputs of the tests' catheter scale."""
    size = uncertainties.ufloat(2.0, 0.05 / math.sqrt(3))
    seen = uncertainties.ufloat(12.4, 0.25)
    ratio = uncertainties.ufloat(1.0, 20 / 750 / math.sqrt(3))
    return size / seen * ratio


def length_of(path, row, aspect):
    ends = [
        [uncertainties.ufloat(value, U_END) + uncertainties.ufloat(0, GRID) for value in point]
        for point in path
    ]
    return sum(
        umath.sqrt(((b[0] - a[0]) * row) ** 2 + ((b[1] - a[1]) * row * aspect) ** 2)
        for a, b in itertools.pairwise(ends)
    )


@pytest.mark.parametrize("aspect", [1.0, 1.2])
@given(first=paths(longest=4, least_px=20), second=paths(longest=4, least_px=20))
def test_value_uncertainty_and_covariance_agree(aspect, first, second):
    scale = catheter_scale(aspect=aspect)
    ours = [
        measure_caliper(
            caliper(key=key, measurand=MEASURANDS["depth"], points=path, tilt_deg=0.0),
            scale,
            modality="XA",
        ).result
        for key, path in (("a", first), ("b", second))
    ]
    row = budget_of_the_scale()
    theirs = [length_of(path, row, aspect) for path in (first, second)]
    for own, other in zip(ours, theirs, strict=True):
        assert own.value == pytest.approx(other.nominal_value, rel=1e-12)
        assert own.u == pytest.approx(other.std_dev, rel=1e-9)
    matrix = uncertainties.covariance_matrix(theirs)
    assert covariance(*ours) == pytest.approx(matrix[0][1], rel=1e-9)
    assert scale.row.u == pytest.approx(row.std_dev, rel=1e-9)


@with_check("gum-H2")
def test_simultaneous_readings_of_the_gum(example):
    inputs = example["inputs"]
    readings = np.array([inputs["V"], inputs["I_mA"], inputs["phi_rad"]])
    matrix = np.cov(readings) / readings.shape[1]
    v, i, phi = uncertainties.correlated_values(readings.mean(axis=1), matrix)
    theirs = [v / i * umath.cos(phi), v / i * umath.sin(phi), v / i]
    means, related = from_simultaneous_repeats(
        readings.T, keys=["V", "I", "phi"], units=["V", "mA", "rad"]
    )
    ours = propagate_outputs(
        lambda v, i, phi: (v / i * np.cos(phi), v / i * np.sin(phi), v / i),
        means,
        units=["kohm"] * 3,
        correlations=related,
    )
    wanted = np.array(uncertainties.covariance_matrix(theirs))
    assert covariance_matrix(ours) == pytest.approx(wanted, rel=1e-6)
