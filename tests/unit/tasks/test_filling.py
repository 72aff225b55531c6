"""The best-filled frame that is suggested, on loops whose filling is known."""

import numpy as np
import pytest

from annot.errors import AnnotError
from annot.measurement.filling_curve import block_means, filling_curve
from annot.tasks.filling import contrast_over_loop
from annot.tasks.open import open_loop
from synthetic_dicom import write_case
from synthetic_dicom.xray_image import opacification


@pytest.fixture(scope="module")
def folder(tmp_path_factory):
    return tmp_path_factory.mktemp("loops")


@pytest.mark.parametrize("case", ["xa_clean", "xa_stripe"])
def test_the_suggested_frame_is_well_filled_in_truth(folder, case):
    written = write_case(case, folder, frames=20)
    curve = contrast_over_loop(open_loop(written.path))
    image = written.truth.image
    assert curve.reason == ""
    assert image["first_filled_frame"] <= curve.best_frame <= image["last_filled_frame"]
    true = opacification(np.array(written.truth.frame_times_ms))
    assert np.corrcoef(curve.darkening, true)[0, 1] > 0.95
    assert max(curve.shares) == 1.0


def test_a_loop_that_is_filled_throughout_gets_no_suggestion(folder):
    written = write_case("xa_sphere", folder, frames=10)  # shorter than a second: plateau only
    curve = contrast_over_loop(open_loop(written.path))
    assert curve.best_frame is None
    assert "contrast" in curve.reason


def test_a_phantom_gets_no_suggestion_and_every_frame_is_reported(folder):
    seen = []
    loop = open_loop(write_case("xa_step", folder).path)
    curve = contrast_over_loop(loop, on_frame=seen.append)
    assert curve.best_frame is None
    assert "no contrast" in curve.reason
    assert seen == list(range(loop.frames))


def test_echo_is_refused(folder):
    with pytest.raises(AnnotError, match="X-ray"):
        contrast_over_loop(open_loop(write_case("us_045", folder, frames=2).path))


def test_one_bad_frame_does_not_win():
    rng = np.random.default_rng(5)
    still = rng.uniform(4.0, 5.0, (20, 20))
    course = np.exp(-0.5 * ((np.arange(30) - 12) / 4.0) ** 2)
    place = np.zeros((20, 20))
    place[5:10, 5:13] = 0.8
    stack = still + course[:, None, None] * place
    assert abs(filling_curve(stack).best_frame - 12) <= 1
    stack[25] += 3.0  # one dark frame, as from a pulse that failed
    assert abs(filling_curve(stack).best_frame - 12) <= 1


def test_blocks_are_means_and_a_tiny_frame_is_one():
    frame = np.arange(16 * 17).reshape(16, 17)
    means = block_means(frame)
    assert means.shape == (2, 2)
    assert means[0, 0] == frame[:8, :8].mean()
    assert block_means(frame[:3]).shape == (1, 1)
