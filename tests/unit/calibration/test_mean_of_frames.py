"""The mean over frames: what they state, or their scatter with its own degrees of freedom."""

import numpy as np
import pytest

from annot.calibration.mean_of_frames import mean_of_frames
from annot.uncertainty import InputQuantity


def seen(values, u=0.1, dof=8.0):
    return [
        InputQuantity(
            key=f"k{index}",
            value=value,
            u=u,
            unit="px",
            dof=dof,
            evaluation="A",
            distribution="t",
            component="scale",
            source=f"frame {index}",
        )
        for index, value in enumerate(values)
    ]


def test_frames_that_agree_average_what_they_state():
    found = mean_of_frames(seen([10.0, 10.02, 10.04]), key="k")
    assert found.value == pytest.approx(10.02)
    assert found.u == pytest.approx(0.1 / np.sqrt(3))
    assert found.dof == pytest.approx(24.0)  # Welch–Satterthwaite of three alike


def test_frames_that_do_not_agree_have_one_degree_of_freedom_less_than_frames():
    """JCGM 100:2008 4.2.3: s/√n, n − 1; once for all frames, not once for each."""
    values = [10.0, 11.0, 10.2]
    found = mean_of_frames(seen(values), key="k")
    assert found.u == pytest.approx(np.std(values, ddof=1) / np.sqrt(3))
    assert found.dof == pytest.approx(2.0)
    assert found.lines[0].input.source.startswith("scatter of 3 frames")


def test_scatter_that_chance_explains_widens_and_keeps_the_frames_own_freedom():
    values = [10.0, 10.2, 10.4]
    found = mean_of_frames(seen(values, u=0.15), key="k")
    assert found.u == pytest.approx(np.std(values, ddof=1) / np.sqrt(3))
    assert found.dof == pytest.approx(24.0)


def test_one_frame_is_what_it_states():
    found = mean_of_frames(seen([10.0]), key="k")
    assert (found.u, found.dof) == pytest.approx((0.1, 8.0))
