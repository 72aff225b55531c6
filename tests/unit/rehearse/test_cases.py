"""Cases: what is drawn is what is said to be drawn, and bounds are bounds."""

import math
from dataclasses import replace

import numpy as np
import pytest

from annot.calibration.shadow import TubeShadow
from annot.calibration.shaft_bound import shaft_bound_px
from annot.tasks.rehearse import (
    SCALE_KINDS,
    ball_case,
    marker_case,
    run_case,
    shaft_case,
    shaft_picture,
    tally,
)
from annot.tasks.rehearse.edge_finder import found_ends
from annot.tasks.rehearse.reading_case import QUANTITIES, run_reading_case
from annot.tasks.rehearse.shaft_bound import KnownBefore, shaft_bound_rel
from annot.tasks.rehearse.study import chance_of
from annot.tasks.rehearse.tally import NAIVE
from annot.tasks.rehearse.xray_reading import draw_xray
from synthetic_dicom.scene import beating_anatomy
from synthetic_dicom.shaft_profile import ShaftProfile

SHAFT = ShaftProfile(
    outer_px=13.0, inner_px=9.1, wall_per_px=0.08, lumen_per_px=0.0, blur_px=1.3, veil=0.2
)
EMPTY = KnownBefore(lumen_ratio=0.005, lumen_is_empty=True)
# nothing known before but what the fit of one's own is told
BARE = KnownBefore(
    lumen_ratio=1e-6,
    lumen_is_empty=True,
    primary_share=1e-6,
    wall_log=100.0,
    lumen_log=100.0,
    blur_log=100.0,
    glare=1e-6,
)


def shafts(count):
    return [shaft_case.draw(case, chance_of(1, case)) for case in range(count)]


def test_every_cell_comes_in_turn_and_mismatches_every_fourth_round():
    cells = len(shaft_case.CELLS)
    drawn = shafts(4 * cells)
    assert {(one.blur, one.contrast) for one in drawn[:cells]} == {
        (blur, contrast) for _, blur, contrast in shaft_case.CELLS
    }
    assert not any(one.mismatch for one in drawn[: 3 * cells])
    assert {one.mismatch for one in drawn[3 * cells :]} == {"glare"}
    kinds = {shaft_case.mismatch_of(case) for case in range(0, 20 * cells, cells)}
    assert kinds == {"", *shaft_case.MISMATCHES}


def test_what_is_drawn_lies_where_it_is_said_to_lie():
    drawn = shafts(400)
    for index, one in enumerate(drawn):
        assert abs(one.size_px / shaft_case.CELLS[index % 48][0] - 1) <= 0.07
        assert abs(one.true_mm - one.stated_mm) <= 0.02
        assert 0.55 <= one.ratio <= 0.90
        assert 0.3 <= one.wall <= 2.0
        assert one.lumen == 0 or 0.3 <= one.lumen <= 2.5
        assert one.length_px >= 45
    assert np.mean([one.lumen > 0 for one in drawn]) == pytest.approx(0.5, abs=0.08)
    assert np.mean([one.knows_other for one in drawn]) == pytest.approx(0.5, abs=0.08)
    assert np.mean([one.ratio for one in drawn]) == pytest.approx(0.725, abs=0.02)


def test_contrast_to_noise_is_that_of_the_cell():
    [one] = [
        one
        for one in shafts(48)
        if (one.blur, one.contrast, one.mismatch) == (0.1, 12.0, "") and 12 < one.size_px < 14
    ]
    assert one.profile.peak() / one.noise == pytest.approx(12.0)


def test_the_object_lies_inside_its_picture_with_room_beside_it():
    for case in range(12):
        drawn = shaft_case.draw(case, chance_of(2, case))
        shown = shaft_picture.shown_of(drawn, chance_of(3, case))
        trace = np.array(shown.request["axis_px"])
        room = 1.5 * drawn.size_px + 5
        assert trace.min() >= room
        assert np.all(trace.max(axis=0) <= np.array(shown.stored.shape) - 1 - room)


# ---------------------------------------------------------------- bounds
def test_four_times_the_length_halves_the_bound_as_noise_does():
    # with a primary share known in advance, the rest is all picture: the bound goes as 1/√length
    short = shaft_bound_rel(SHAFT, length_px=100, noise=0.02, before=BARE)
    assert shaft_bound_rel(SHAFT, length_px=400, noise=0.02, before=BARE) == pytest.approx(
        short / 2, rel=1e-3
    )
    assert shaft_bound_rel(SHAFT, length_px=100, noise=0.01, before=BARE) == pytest.approx(
        short / 2, rel=1e-3
    )


def test_the_less_is_known_the_larger_the_bound():
    options = {"length_px": 130, "noise": 0.03}
    nothing = KnownBefore(lumen_ratio=0.1, lumen_is_empty=False)
    known = shaft_bound_rel(SHAFT, before=EMPTY, **options)
    wall = shaft_bound_rel(SHAFT, before=replace(EMPTY, lumen_ratio=0.1), **options)
    filling = shaft_bound_rel(SHAFT, before=nothing, **options)
    assert known < wall < filling


def test_a_fit_of_the_very_profile_reaches_the_bound():
    # oracle: scipy.optimize.curve_fit on profiles with independent noise, the blur and all else
    # free but wall and lumen, for which the priors are made tight
    from scipy.optimize import curve_fit

    offset = np.arange(-24.0, 24.5, 1.0)
    noise, length = 0.02, 25.0
    truth = np.array([13.0, 1.3, 0.0, 1.04, 1.0, 0.0, 0.0])

    def model(x, *unknown):
        outer, blur, place, wall, level, slope, bend = unknown
        shaft = ShaftProfile(
            outer_px=outer,
            inner_px=0.7 * outer,
            wall_per_px=wall / outer,
            lumen_per_px=0.0,
            blur_px=blur,
            veil=0.0,
        )
        return level + slope * x / 24 + bend * (x / 24) ** 2 - 0.8 * shaft.absorbed(x - place)

    rng, found = np.random.default_rng(1), []
    clean = model(offset, *truth)
    for _ in range(60):
        seen = clean + noise / math.sqrt(length) * np.sqrt(clean) * rng.standard_normal(len(offset))
        best, _ = curve_fit(model, offset, seen, p0=truth, sigma=np.sqrt(clean))
        found.append(best[0])
    shaft = replace(SHAFT, wall_per_px=1.04 / 13.0)
    bound = shaft_bound_rel(shaft, length_px=length, noise=noise, before=BARE)
    assert np.std(found, ddof=1) / 13.0 == pytest.approx(bound, rel=0.3)


def test_a_balls_bound_falls_with_noise():
    drawn = ball_case.draw(7, chance_of(1, 7))
    loud, soft = (ball_case.ball_bound_rel(drawn, noise=noise) for noise in (0.04, 0.01))
    assert 2.0 < loud / soft < 4.001
    assert 0.001 < soft < 0.05


# ---------------------------------------------------------------- ends found
def test_the_edge_of_a_round_shadow_is_found_where_it_is():
    # a broad rod's shadow, drawn by its own formula: the mean of steepest slope and strongest
    # outer bend lies at the edge to a tenth of a pixel (published for blur well below the size)
    rod = ShaftProfile(
        outer_px=110.0, inner_px=0.0, wall_per_px=0.02, lumen_per_px=0.0, blur_px=1.0, veil=0.1
    )
    frame = np.tile(4000 * (1 - rod.absorbed(np.arange(200) - 100.0)), (40, 1))
    ends = found_ends(frame, ((20.0, 43.0), (20.0, 157.0)), kind="shadow")
    assert ends is not None
    assert ends[0] == pytest.approx((20.0, 45.0), abs=0.35)
    assert ends[1] == pytest.approx((20.0, 155.0), abs=0.35)


def test_the_inner_edge_of_a_bright_wall_is_found_half_way_up():
    frame = np.zeros((40, 200))
    frame[:, :60] = frame[:, 141:] = 200.0
    ends = found_ends(frame, ((20.0, 57.0), (20.0, 143.0)), kind="wall")
    assert ends is not None
    assert ends[0] == pytest.approx((20.0, 59.5), abs=0.2)
    assert ends[1] == pytest.approx((20.0, 140.5), abs=0.2)


@pytest.mark.parametrize("kind", ["shadow", "wall"])
def test_where_there_is_no_edge_none_is_found(kind):
    assert found_ends(np.full((40, 200), 90.0), ((20, 60), (20, 140)), kind=kind) is None
    assert found_ends(np.zeros((40, 200)), ((20, 2), (20, 140)), kind=kind) is None


# ---------------------------------------------------------------- readings
@pytest.mark.parametrize(
    ("case", "modality", "quantity"),
    [(0, "X-ray", "ostium_width"), (1, "echo", "ostium_width"), (5, "echo", "depth")],
)
def test_an_invented_patient_is_measured_in_one_modality_and_both_arms(case, modality, quantity):
    trials = run_reading_case(case, chance_of(1, case))
    arms = ["ends jittered"] if quantity == "depth" else ["ends jittered", "ends found"]
    assert [one.arm for one in trials] == arms
    assert {one.labels["modality"] for one in trials} == {modality}
    assert {one.labels["quantity"] for one in trials} == {quantity}
    assert all(one.value is not None and 8 < one.value < 45 for one in trials)


@pytest.mark.parametrize("quantity", QUANTITIES)
def test_the_object_lies_within_the_stated_depth_of_what_is_measured(quantity):
    for case in range(6):
        rng = np.random.default_rng(case)
        drawn = draw_xray(beating_anatomy(case, (300.0,)), quantity, rng)
        setup, [thing] = drawn.scene.setup, drawn.scene.objects
        ends = np.array(drawn.wanted.points_px)
        # what is measured, seen at the depth that its truth states, is as long as its truth
        share = np.hypot(*(ends[1] - ends[0])) * drawn.wanted.mm_per_px[0] / drawn.wanted.value_mm
        low = math.cos(math.radians(drawn.tilt_deg)) - 0.04 if quantity == "depth" else 0.995
        assert low <= share <= 1.04
        assert 10 <= drawn.depth_offset_mm <= 30
        assert abs(thing.height_mm()) < 120
        assert setup.sid_mm > setup.sod_mm


# ---------------------------------------------------------------- beside the fit
def test_the_bound_is_the_instruments_own_where_the_picture_says_enough():
    # two ways to one bound: the generator's pictures here, the fit's model and slopes there
    good = [one for one in shafts(48) if one.knows_other and not one.lumen and one.blur >= 0.1]
    assert len(good) >= 5
    for one in good:
        known = KnownBefore(lumen_ratio=0.006, lumen_is_empty=True, glare=1e-6)
        own = shaft_bound_rel(one.profile, length_px=one.length_px, noise=one.noise, before=known)
        tube = TubeShadow(
            outer_px=one.size_px,
            lumen_ratio=one.ratio,
            wall_depth=one.wall,
            lumen_depth=0.0,
            blur_px=one.blur * one.size_px,
            across=(math.cos(one.heading), math.sin(one.heading)),
        )
        theirs = shaft_bound_px(
            tube,
            noise=one.noise,
            length_px=one.length_px,
            lumen_ratio_u=0.006,
            primary_share=1.0 - one.veil,
        )
        assert theirs / one.size_px == pytest.approx(own, rel=0.2)


def test_the_naive_width_stands_beside_the_fit():
    [fit, scale] = run_case(SCALE_KINDS["catheter"], 19, seed=1)
    # the profile without noise, from the generator: where it is half as deep as at its deepest
    offset = np.arange(-12.0, 12.0, 0.01)
    profile = shaft_case.draw(19, chance_of(1, 19)).profile.absorbed(offset)
    width = np.ptp(offset[profile >= profile.max() / 2])
    assert fit.beside[NAIVE] == pytest.approx(width, rel=0.03)
    assert NAIVE not in scale.beside
    assert tally([fit]).naive_bias_rel == pytest.approx(fit.beside[NAIVE] / fit.true - 1)


@pytest.mark.parametrize("kind", sorted(SCALE_KINDS))
def test_every_kind_of_object_is_scaled_beside_its_truth(kind):
    [fit, scale] = run_case(SCALE_KINDS[kind], 7, seed=1)
    assert (fit.labels["quantity"], scale.labels["quantity"]) == ("size, fit alone", "scale")
    assert (fit.unit, scale.unit) == ("px", "mm/px")
    assert fit.error_rel is not None
    assert abs(fit.error_rel) < 0.1
    assert scale.u_rel > fit.u_rel
    # a scale is a known size over a size in pixels: their errors mirror one another
    assert fit.error_rel * scale.error_rel < 1e-4


def test_bands_stand_where_they_are_drawn_and_within_the_stated_tilt_and_tolerance():
    for case in range(24):
        drawn = marker_case.draw(case, chance_of(1, case))
        gaps = np.diff(drawn.centres_px) / drawn.size_px
        assert np.all(gaps <= 1.01)
        assert np.all(gaps >= 0.99 * math.cos(math.radians(drawn.tilt_deg)))
        assert abs(drawn.true_mm / drawn.stated_mm - 1) <= 0.01
        [wire] = drawn.picture.shapes
        places = np.array([wire.course.point_mm(centre)[1::-1] for centre in drawn.centres_px])
        shape = np.array([drawn.picture.rows, drawn.picture.columns])
        assert np.all((places > 15) & (places < shape - 16))
        seen = replace(drawn.picture, recording=replace(drawn.picture.recording, slope=(0, 0)))
        dark = seen.intensity()[tuple(places.round().astype(int).T)]
        between = 0.5 * (places[1:] + places[:-1])
        bare = seen.intensity()[tuple(between.round().astype(int).T)]
        assert dark.max() < bare.min()
