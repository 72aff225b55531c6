"""Pictures of a study are whole PNG files, and say the same for the same figures."""

import io

import numpy as np
import pytest

from annot.exports.study_figures import CoveragePoint, ErrorGroup, coverage_png, errors_png


def size_of(content: bytes) -> tuple[int, int]:
    from PIL import Image

    with Image.open(io.BytesIO(content)) as picture:
        picture.verify()
        return picture.size


def point(label="6 px", coverage=0.95, count=400):
    return CoveragePoint(
        label=label, count=count, coverage=coverage, low=coverage - 0.02, high=coverage + 0.02
    )


def draw(points):
    return coverage_png(points, title="Coverage", asked=(0.93, 0.97), caption="caution " * 30)


def test_a_picture_of_coverage_grows_with_its_rows_and_repeats_itself():
    one, many = draw([point()]), draw([point(label=f"{n} px") for n in range(30)])
    assert size_of(many)[1] > size_of(one)[1] + 300
    assert draw([point()]) == one
    assert draw([point(coverage=0.5)]) != one


@pytest.mark.parametrize("count", [1, 300])
def test_a_picture_of_errors_takes_one_trial_or_many(count):
    rng = np.random.default_rng(1)
    u_rel = rng.uniform(0.01, 0.04, count)
    group = ErrorGroup(label="width", error_rel=u_rel * rng.standard_normal(count), u_rel=u_rel)
    assert size_of(errors_png([group, group], title="Errors", caption="caution"))[0] > 1000
