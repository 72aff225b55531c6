"""General statistics libraries on the same readings: scipy, statsmodels (BSD), pingouin (GPL).

The GPL library is an oracle of the tests only and never reaches the shipped tool.
"""

import warnings

import numpy as np
import pytest

from annot.agreement import (
    concordance,
    intraclass_correlations,
    limits_of_agreement,
    share,
    sloping_limits,
    weighted_kappa,
)
from annot.uncertainty.variance_components import likely_components


@pytest.fixture(scope="module")
def readings():
    """Return 24 cases read by three readers, with a reader's bias and their noise."""
    rng = np.random.default_rng(20)
    case = rng.normal(24, 4, 24)[:, None]
    return case + np.array([0.0, 0.6, -0.4]) + rng.normal(0, 0.8, (24, 3))


def test_intraclass_correlations_against_pingouin(readings):
    import pandas as pd
    import pingouin

    rows = [
        {"case": case, "reader": reader, "value": readings[case, reader]}
        for case in range(24)
        for reader in range(3)
    ]
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        found = pingouin.intraclass_corr(
            pd.DataFrame(rows), targets="case", raters="reader", ratings="value"
        )
    names = {"1,1": "1,1", "A,1": "2,1", "C,1": "3,1", "1,k": "1,k", "A,k": "2,k", "C,k": "3,k"}
    ours = intraclass_correlations(readings)
    for _, row in found.iterrows():
        form = names[row["Type"].removeprefix("ICC(").removesuffix(")")]
        assert ours[form].value == pytest.approx(row["ICC"], abs=1e-9)
        interval = next(row[name] for name in found.columns if name.startswith("CI95"))
        assert (ours[form].low, ours[form].high) == pytest.approx(tuple(interval), abs=5.1e-3)


def test_kappa_against_statsmodels():
    from statsmodels.stats.inter_rater import cohens_kappa

    rng = np.random.default_rng(3)
    first = rng.integers(0, 5, 80)
    second = np.clip(first + rng.integers(-1, 2, 80), 0, 4)
    table = np.zeros((5, 5))
    np.add.at(table, (first, second), 1)
    for weights, theirs in (("linear", "linear"), ("quadratic", "quadratic"), ("none", None)):
        ours = weighted_kappa(first.tolist(), second.tolist(), classes=5, weights=weights)
        other = cohens_kappa(table, wt=theirs)
        assert ours.value == pytest.approx(other.kappa, abs=1e-12)
        assert ours.u == pytest.approx(other.std_kappa, abs=1e-12)


def test_share_against_scipy_binomtest():
    from scipy import stats

    for hits, of in ((0, 12), (5, 12), (12, 12), (190, 200)):
        other = stats.binomtest(hits, of).proportion_ci(0.95, method="exact")
        ours = share(hits, of)
        assert (ours.low, ours.high) == pytest.approx((other.low, other.high), abs=1e-12)


def test_limits_against_the_noncentral_t_of_scipy_stats(readings):
    from scipy import stats

    limits = limits_of_agreement(readings[:, 0], readings[:, 1])
    n, shift = 24, 1.96 * np.sqrt(24)
    low, high = stats.nct.ppf([0.025, 0.975], n - 1, shift) * limits.sd / np.sqrt(n)
    assert limits.upper.low == pytest.approx(limits.bias.value + low, rel=1e-9)
    assert limits.upper.high == pytest.approx(limits.bias.value + high, rel=1e-9)
    assert limits.lower.high == pytest.approx(limits.bias.value - low, rel=1e-9)


def test_sloping_limits_against_linregress(readings):
    from scipy import stats

    one, other = readings[:, 0], readings[:, 2]
    line = sloping_limits(one, other)
    theirs = stats.linregress((one + other) / 2, one - other)
    assert line.slope.value == pytest.approx(theirs.slope, rel=1e-10)
    assert line.slope.u == pytest.approx(theirs.stderr, rel=1e-10)
    assert line.intercept.u == pytest.approx(theirs.intercept_stderr, rel=1e-10)


def test_concordance_interval_against_a_bootstrap(readings):
    """No library here has Lin's interval: scipy's bootstrap of the same statistic stands in."""
    from scipy import stats

    one, other = readings[:, 0], readings[:, 1]

    def statistic(a, b, axis=-1):
        product = np.mean(
            (a - a.mean(axis=axis, keepdims=True)) * (b - b.mean(axis=axis, keepdims=True)),
            axis=axis,
        )
        shift = a.mean(axis=axis) - b.mean(axis=axis)
        return 2 * product / (a.var(axis=axis) + b.var(axis=axis) + shift**2)

    ours = concordance(one, other)
    drawn = stats.bootstrap(
        (one, other), statistic, paired=True, n_resamples=4000, rng=np.random.default_rng(1)
    )
    assert ours.coefficient.value == pytest.approx(float(statistic(one, other)), rel=1e-12)
    assert ours.coefficient.u == pytest.approx(drawn.standard_error, rel=0.35)


def test_restricted_likelihood_against_statsmodels():
    """Unbalanced: a third of the readings of a crossed table taken away."""
    import pandas as pd
    from statsmodels.regression.mixed_linear_model import MixedLM

    rng = np.random.default_rng(11)
    case, reader = (part.ravel() for part in np.indices((15, 4)))
    values = rng.normal(0, 3, 15)[case] + rng.normal(0, 1, 4)[reader] + rng.normal(0, 0.7, 60)
    kept = rng.permutation(60)[:40]
    frame = pd.DataFrame({"y": values[kept], "case": case[kept], "reader": reader[kept], "g": 0})
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        parts = {"case": "0+C(case)", "reader": "0+C(reader)"}
        theirs = MixedLM.from_formula("y~1", frame, groups="g", vc_formula=parts).fit(reml=True)
    ours = likely_components(
        frame["y"].to_numpy(),
        {"case": frame["case"].tolist(), "reader": frame["reader"].tolist()},
    )
    assert ours.by_factor["case"].sd ** 2 == pytest.approx(theirs.vcomp[0], rel=2e-3)
    assert ours.by_factor["reader"].sd ** 2 == pytest.approx(theirs.vcomp[1], rel=2e-3)
    assert ours.residual.sd**2 == pytest.approx(theirs.scale, rel=2e-3)
    assert ours.mean == pytest.approx(theirs.fe_params.iloc[0], rel=1e-4)
