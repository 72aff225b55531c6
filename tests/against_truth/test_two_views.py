"""Two rendered X-ray views of one appendage: landmarks in space against what the generator made."""

from dataclasses import replace

import numpy as np
import pytest

from annot.errors import InputError
from annot.geometry import PixelPoint
from annot.loops import open_loop
from annot.tasks.geometry import MarkedView, geometry_of

VIEWS = ("xa_clean", "xa_caudal")


def marked(written, rng=None, *, frame=0, extra=None):
    points = {}
    ostium = written.truth.caliper("depth", frame).points_px
    for name, place in (("ostium", ostium[0]), ("tip", ostium[1]), *(extra or {}).items()):
        error = np.zeros(2) if rng is None else rng.normal(0, 1, 2)
        points[name] = PixelPoint(*(np.array(place) + error))
    return MarkedView(loop=open_loop(written.path), frame=frame, points=points)


def answer_of(loop_of, rng=None, **options):
    first, second = (marked(loop_of(name), rng) for name in VIEWS)
    return geometry_of(first, second, u_px=1.0, **options)


def test_exact_marks_give_the_true_depth_and_both_heights(loop_of):
    answer = answer_of(loop_of)
    truths = [loop_of(name).truth for name in VIEWS]
    [(_, _, length)] = answer.lengths
    assert length.value == pytest.approx(truths[0].anatomy.depth_mm[0], abs=1e-6)
    assert max(answer.misses_mm) < 1e-6
    [ostium, _] = answer.facts()["landmarks"]
    heights = [one["value"] for one in ostium["height_mm"]]
    assert heights == pytest.approx([one.anatomy.depth_h_mm for one in truths], abs=1e-6)


def test_the_views_angle_to_the_depth_is_what_the_generator_foreshortened(loop_of):
    neck = answer_of(loop_of).facts()["neck"]
    for name, angle in zip(VIEWS, neck["angle_to_view"], strict=True):
        short = loop_of(name).truth.caliper("depth", 0).foreshortening_deg
        # the generator takes the ray to the depth's middle, the answer the central ray
        assert abs(90 - angle["value"]) == pytest.approx(short, abs=3)


def test_marks_placed_within_a_pixel_hold_the_true_depth(loop_of):
    true = loop_of(VIEWS[0]).truth.anatomy.depth_mm[0]
    rng = np.random.default_rng(11)
    held = 0
    for _ in range(30):
        [(_, _, length)] = answer_of(loop_of, rng).lengths
        held += abs(length.value - true) <= 1.96 * length.u
        assert 0.1 < length.u < 1.0
    # 30 intervals of 95 %: fewer than 25 held happens once in 3000 (binomial)
    assert held >= 25


def test_square_views_are_square_to_the_axis(loop_of):
    from annot.geometry.projection import beam_direction

    answer = answer_of(loop_of)
    axis = answer.space.fit.places_mm[1] - answer.space.fit.places_mm[0]
    assert answer.square
    for view in answer.square:
        assert beam_direction(*view) @ axis == pytest.approx(0, abs=1e-9)


def test_loops_that_cannot_be_set_against_each_other_are_refused(loop_of):
    clean, other = loop_of("xa_clean"), loop_of("xa_caudal", seed=2)
    with pytest.raises(InputError, match="different studies"):
        geometry_of(marked(clean), marked(other), u_px=1.0)
    with pytest.raises(InputError, match="marked in one view only"):
        geometry_of(
            marked(clean), marked(loop_of("xa_caudal"), extra={"ridge": (200, 200)}), u_px=1.0
        )
    with pytest.raises(InputError, match="ostium and ridge are marked at one place"):
        geometry_of(
            *(
                replace(one, points=one.points | {"ridge": one.points["ostium"]})
                for one in (marked(loop_of(name)) for name in VIEWS)
            ),
            u_px=1.0,
        )
    with pytest.raises(InputError, match=r"0\.0° apart and look along one line"):
        geometry_of(marked(clean), marked(clean), u_px=1.0)
    with pytest.raises(InputError, match="header lacks"):
        geometry_of(marked(clean), marked(loop_of("xa_no_spacing")), u_px=1.0)
    with pytest.raises(InputError, match="no landmark is called so"):
        answer_of(loop_of, neck=("ostium", "nowhere"))
