"""Many results at once say exactly what one at a time says."""

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from annot.uncertainty import (
    Correlation,
    InputColumn,
    InputQuantity,
    covariance,
    exact,
    propagate,
    propagate_column,
    stated,
)


def scale(correlated=0.0):
    parts = [
        InputQuantity(key="size", value=2.0, u=0.02, unit="mm", component="object"),
        InputQuantity(key="seen", value=12.4, u=0.25, unit="px", dof=9, component="scale"),
    ]
    pairs = [Correlation(first="size", second="seen", coefficient=correlated)]
    return propagate(
        lambda d, p: d / p, parts, unit="mm/px", correlations=pairs if correlated else ()
    )


def column(values, key="length", u=1.5, **more):
    return InputColumn(key=key, values=np.array(values), u=u, unit="px", component="ends", **more)


def results(values, correlated=0.0, **more):
    return propagate_column(
        lambda s, x, y: s * x + 0.1 * y,
        [scale(correlated)],
        [column(values, **more), column(np.ones(len(values)), key="offset", u=0.2)],
        unit="mm",
    )


many = st.lists(st.floats(10.0, 200.0), min_size=1, max_size=5)


@pytest.mark.parametrize("correlated", [0.0, 0.6])
@given(many, st.one_of(st.just(math.inf), st.floats(2.0, 50.0)))
def test_every_row_is_the_single_result(correlated, values, dof):
    found = results(values, correlated, dof=dof)
    shares = found.shares()
    matrix = found.covariance()
    rows = [found.at(row) for row in range(len(values))]
    for row, single in enumerate(rows):
        assert found.values[row] == pytest.approx(single.value, rel=1e-12)
        assert found.u[row] == pytest.approx(single.u, rel=1e-8)
        assert found.dof[row] == pytest.approx(single.dof, rel=1e-6)
        for component, share in single.shares().items():
            assert shares[component][row] == pytest.approx(share, abs=1e-8)
        for other, second in enumerate(rows):
            assert matrix[row, other] == pytest.approx(covariance(single, second), rel=1e-7)
    assert sum(shares.values()) == pytest.approx(np.ones(len(values)))


def test_rows_without_a_shared_input_are_not_correlated():
    found = propagate_column(lambda x: 2 * x, [], [column([1.0, 2.0])], unit="px")
    assert found.covariance() == pytest.approx(np.diag([9.0, 9.0]))
    assert np.all(np.isinf(found.dof))


def test_exact_columns_add_nothing():
    sure = column([1.0, 2.0], u=0.0, distribution="exact")
    one = exact(3.0, key="three", unit="1", source="")
    found = propagate_column(lambda s, x: s * x, [one], [sure], unit="px")
    assert found.u.tolist() == [0.0, 0.0]
    assert found.shares()["ends"].tolist() == [0.0, 0.0]


def test_a_column_keeps_its_own_copy():
    values = np.array([1.0, 2.0])
    kept = InputColumn(key="x", values=values, u=np.ones(2), unit="px")
    values[0] = 99.0
    assert kept.values[0] == 1.0
    with pytest.raises(ValueError, match="read-only"):
        kept.values[0] = 5.0


@pytest.mark.parametrize(
    ("make", "words"),
    [
        (lambda: column([1.0, math.nan]), "length:1: the value nan"),
        (lambda: column([1.0, 2.0], u=np.array([1.0, -1.0])), "length:1: the uncertainty -1"),
        (lambda: column([1.0, 2.0], u=np.array([1.0, math.inf])), "length:1: the uncertainty inf"),
        (lambda: column([1.0, 2.0], u=np.array([1.0, 0.0])), "length:1: .*'exact' go together"),
        (lambda: column([1.0], distribution="round"), "no distribution 'round'"),
        (lambda: column([]), "one value per row"),
        (lambda: column([[1.0]]), "one value per row"),
        (
            lambda: propagate_column(lambda x, y: x + y, [], [column([1.0]), column([1.0, 2.0])],
                                     unit="px"),
            r"same number of rows, got \[1, 2\]",
        ),
        (lambda: propagate_column(np.log, [], [column([1.0, -1.0])], unit="1"), "in row 1"),
    ],
)  # fmt: skip
def test_what_is_refused_and_why(make, words):
    with np.errstate(all="ignore"), pytest.raises(ValueError, match=words):
        make()


def test_a_row_can_be_simulated():
    from annot.uncertainty import simulate

    row = results([50.0, 60.0]).at(1)
    assert simulate(row, draws=20_000).value == pytest.approx(row.value, rel=0.01)
    shared = stated(1.0, 0.1, key="s", unit="1", source="")
    assert {
        line.input.key
        for line in propagate_column(lambda s, x: s * x, [shared], [column([1.0, 2.0])], unit="px")
        .at(1)
        .lines
    } == {"s", "length:1"}
