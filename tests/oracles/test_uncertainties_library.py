"""The library `uncertainties` (BSD-3, automatic differentiation) on the same caliper budgets."""

import itertools
import math

import pytest
import uncertainties
from hypothesis import given
from uncertainties import umath

from annot.measurement import measure_caliper
from annot.uncertainty import covariance
from annot.vocabulary import MEASURANDS
from tests.strategies import caliper, catheter_scale, paths

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
