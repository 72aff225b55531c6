"""Blades and shutters are seen, and an object that reaches them gives no size."""

import numpy as np
import pytest

from annot.calibration.ball_fit import fit_ball
from annot.calibration.open_field import hidden_field
from annot.calibration.scale import NoScale
from annot.calibration.shaft_fit import ShaftFit, fit_shaft
from annot.calibration.shaft_location import Reading


def bladed(picture, rows, scatter=0.02):
    """Cover the first rows with blades: next to no light behind them, an edge of two pixels."""
    from scipy.ndimage import gaussian_filter

    open_share = gaussian_filter((np.arange(picture.shape[0]) >= rows).astype(float), 1.0)
    return np.round(picture * np.maximum(open_share, scatter)[:, None]).astype(np.uint16)


def fitted(shaft, picture, **more):
    return fit_shaft([Reading(frame=picture, trace=shaft.trace(), **more)], filling="empty",
                     lumen_ratio=(0.65, 0.01))  # fmt: skip


def test_a_frame_without_blades_hides_nothing(shaft, ball):
    assert hidden_field(shaft.picture()) is None
    assert hidden_field(ball.picture()) is None
    assert hidden_field(np.zeros((50, 50), dtype=np.uint16)) is None


def test_blades_are_found_with_the_blur_of_their_edges(shaft):
    hidden = hidden_field(bladed(shaft.picture(), 30))
    assert hidden is not None
    assert hidden[:31].all()
    assert not hidden[37:].any()


def test_round_blades_are_found_too(shaft):
    row, column = np.mgrid[:200, :200]
    dark = np.hypot(row - 99.5, column - 99.5) > 95
    hidden = hidden_field(np.where(dark, 20, shaft.picture()))
    assert hidden is not None
    assert hidden[0, 0]
    assert not hidden[100, 100]


def test_a_dark_object_that_reaches_the_border_is_not_blades(shaft):
    frame = shaft.picture().astype(float)
    frame[:20, 90:97] = 5
    assert hidden_field(frame) is None


@pytest.mark.parametrize("rows", [60, 80, 110])
def test_a_shaft_under_the_blades_gives_no_size(rows, shaft):
    found = fitted(shaft, bladed(shaft.picture(), rows))
    assert isinstance(found, NoScale)
    assert "reaches the shutter at row" in found.reason
    assert "trace a piece farther inside" in found.reason


def test_a_shaft_clear_of_the_blades_is_measured_as_without(shaft):
    clear = fitted(shaft, bladed(shaft.picture(seed=4), 25))
    assert isinstance(clear, ShaftFit)
    assert clear.outer_px == pytest.approx(fitted(shaft, shaft.picture(seed=4)).outer_px, rel=1e-3)


def test_the_files_own_shutter_counts_as_blades(shaft):
    hidden = np.zeros((200, 200), dtype=bool)
    hidden[:, :60] = True
    found = fitted(shaft, shaft.picture(), hidden=hidden)
    assert isinstance(found, NoScale)
    assert "the shutter" in found.reason


@pytest.mark.parametrize("rows", [30, 36, 45])
def test_a_ball_that_the_blades_cut_gives_no_size(rows, ball):
    found = fit_ball(bladed(ball.picture(), rows), ball.guess, 12.0)
    assert isinstance(found, NoScale)
    assert "reaches the shutter at row" in found.reason
