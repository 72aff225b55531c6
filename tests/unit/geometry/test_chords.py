"""Widths in several directions give the ellipse back, alone and in a mixture."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from annot.geometry.chords import (
    Sightings,
    distinct_directions,
    ellipse_of,
    linear_start,
    parameters_of,
    slopes_of,
    widths_of,
)
from annot.geometry.ellipse import Ellipse
from annot.geometry.ellipse_fit import fit_ellipse
from tests.strategies import positives

FOUR = np.array([0.0, 45.0, 90.0, 135.0])
ellipses = st.builds(
    lambda size, ratio, turn: Ellipse(largest=size, smallest=size * ratio, orientation_deg=turn),
    st.floats(5.0, 50.0),
    st.floats(0.3, 1.0),
    st.floats(0.0, 179.0),
)


def seen(directions, *, silhouette):
    kinds = np.broadcast_to(np.asarray(silhouette, dtype=bool), np.shape(directions)).copy()
    return Sightings(directions_deg=np.asarray(directions, dtype=float), silhouette=kinds)


def flat(size):
    return lambda fitted: size**2 * np.eye(len(fitted))


@given(ellipses, st.booleans())
def test_the_model_shows_what_the_ellipse_shows(one, shadows):
    shown = widths_of(parameters_of(one), seen(FOUR, silhouette=shadows))
    wanted = one.silhouette(FOUR) if shadows else one.chord(FOUR)
    assert shown == pytest.approx(wanted, rel=1e-9)


@given(ellipses, st.booleans())
def test_the_linear_laws_give_exact_widths_back(one, shadows):
    views = seen(FOUR, silhouette=shadows)
    found = ellipse_of(linear_start(widths_of(parameters_of(one), views), views))
    assert found.largest == pytest.approx(one.largest, rel=1e-6)
    assert found.smallest == pytest.approx(one.smallest, rel=1e-6)


@given(ellipses)
def test_a_mixture_of_chords_and_shadows_gives_the_ellipse_back(one):
    views = seen([0, 60, 120, 30, 100], silhouette=[False, False, False, True, True])
    fit = fit_ellipse(widths_of(parameters_of(one), views), views, flat(0.5))
    found = ellipse_of(fit.parameters)
    assert (found.largest, found.smallest) == pytest.approx((one.largest, one.smallest), rel=1e-6)
    assert fit.chi2 < 1e-8


@given(ellipses, st.booleans())
def test_slopes_are_those_of_differences(one, shadows):
    parameters, views = parameters_of(one), seen([0, 20, 75, 130], silhouette=shadows)
    steps = 1e-6 * np.eye(3)
    differences = [
        (widths_of(parameters + step, views) - widths_of(parameters - step, views)) / 2e-6
        for step in steps
    ]
    assert slopes_of(parameters, views) == pytest.approx(np.array(differences).T, abs=2e-6 * 50)


def test_a_shared_proportional_error_does_not_pull_the_fit_to_the_short_widths():
    """Peelle's puzzle: weighting by measured widths would; a scale must only widen the interval."""
    views = seen(FOUR, silhouette=False)
    widths = np.array([24.4, 23.1, 18.7, 18.2])
    alone = fit_ellipse(widths, views, flat(0.5))
    scaled = fit_ellipse(
        widths, views, lambda fitted: 0.25 * np.eye(4) + 0.01 * np.outer(fitted, fitted)
    )
    assert scaled.parameters == pytest.approx(alone.parameters, abs=1e-8)
    assert scaled.chi2 == pytest.approx(alone.chi2, rel=1e-6)
    assert scaled.covariance[0, 0] == pytest.approx(alone.covariance[0, 0] + 0.01, rel=1e-6)
    assert scaled.covariance[1:, 1:] == pytest.approx(alone.covariance[1:, 1:], abs=1e-9)


@given(ellipses, positives)
def test_another_unit_of_length_changes_the_size_only(one, factor):
    views = seen(FOUR, silhouette=False)
    widths = widths_of(parameters_of(one), views) + np.array([0.2, -0.1, 0.1, -0.2])
    fit = fit_ellipse(widths, views, flat(0.5))
    again = fit_ellipse(factor * widths, views, flat(0.5 * factor))
    larger = np.array([np.log(factor), 0.0, 0.0])
    assert again.parameters == pytest.approx(fit.parameters + larger, abs=1e-6)
    assert again.chi2 == pytest.approx(fit.chi2, rel=1e-5, abs=1e-9)


def test_contradicting_widths_give_no_ellipse():
    views = seen([0, 60, 120, 30], silhouette=False)
    assert fit_ellipse(np.array([900.0, 1.0, 900.0, 1.0]), views, flat(0.01)) is None


def test_directions_that_say_too_little_give_no_ellipse():
    views = seen([0, 0, 90, 90], silhouette=False)
    assert fit_ellipse(np.array([20.0, 20.0, 18.0, 18.0]), views, flat(0.5)) is None


@pytest.mark.parametrize(
    ("directions", "count"),
    [([], 0), ([10], 1), ([0, 180], 1), ([0, 90], 2), ([1, 179, 90], 2), ([0, 45, 90, 135], 4)],
)
def test_directions_are_counted_by_what_they_can_tell(directions, count):
    assert distinct_directions(directions, apart_deg=5.0) == count
