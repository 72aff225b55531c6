"""Ends moved to edges and carried through loops, on pictures whose truth is drawn here."""

import math
from dataclasses import replace

import numpy as np
import pytest
import scipy

from annot.errors import InputError
from annot.geometry import PixelPoint
from annot.measurement.curve_summary import summarise
from annot.measurement.patch_motion import find_patch, patch_at
from annot.measurement.refine import refine_end, with_refinements
from annot.measurement.track import Track, TrackedFrame, track_points
from annot.measurement.tracked_curve import measure_track
from annot.vocabulary import MEASURANDS, FrameReference
from tests.strategies import caliper, plain_scale

RNG = np.random.default_rng(7)
ROWS, COLUMNS = np.mgrid[:200, :240].astype(float)


def tube(left=70.0, right=170.0, *, strength=0.6, noise=10.0, blur=1.0):
    """A filled tube down the picture: Beer's law through a round section, blurred, noisy."""
    fine = np.linspace(-0.45, 0.45, 10)
    half = (right - left) / 2
    middle = (left + right) / 2
    chord = np.mean(
        [np.sqrt(np.clip(1 - ((COLUMNS + f - middle) / half) ** 2, 0, None)) for f in fine], axis=0
    )
    picture = scipy.ndimage.gaussian_filter(2000 * np.exp(-strength * chord), blur)
    return picture + RNG.normal(0, noise, picture.shape)


def across(left, right, **changes):
    return caliper(points=(PixelPoint(100, left), PixelPoint(100, right)), **changes)


@pytest.mark.parametrize("off", [-3.0, 0.0, 3.0])
@pytest.mark.parametrize("strength", [0.2, 0.6, 1.5])
def test_an_end_finds_the_edge_of_a_filled_tube(off, strength):
    one = across(70 - off, 170 + off)
    picture = tube(strength=strength)
    for end in (0, 1):
        found = refine_end(picture, one, end, modality="XA")
        assert found, found
        assert found.shift_px == pytest.approx(-off, abs=0.5)
        assert found.u_px < 0.8
        assert 0.7 < found.within_a_pixel <= 1.0


def test_half_of_the_shadow_would_lie_well_inside_the_edge():
    """Why the model is the object's own: the half height of this tube's shadow."""
    profile = tube(noise=0.0)[100]
    half_height = (profile.max() + profile.min()) / 2
    crossing = int(np.argmax(profile < half_height))
    assert crossing - 70.0 > 3.0


def wall(edge=120.0, *, blur=2.0, seed=3):
    """Echo: dark blood, bright wall from a column on, speckle blurred, log-compressed to 60 dB."""
    rng = np.random.default_rng(seed)
    level = np.where(edge <= COLUMNS, np.exp(-(COLUMNS - edge) / 40), 0.002)
    parts = [
        scipy.ndimage.gaussian_filter(rng.standard_normal(level.shape) * level, blur)
        for _ in range(2)
    ]
    power = sum(part**2 for part in parts) * (4 * math.pi * blur**2)
    return np.clip(255 + 255 / 60 * 10 * np.log10(power / 2 + 1e-7) - 10, 0, 255)


def test_an_end_finds_the_inner_edge_of_an_echo_wall():
    errors = []
    for seed in range(8):
        one = across(60.0, 121.5)
        found = refine_end(wall(seed=seed), one, 1, modality="US")
        assert found, found
        errors.append(found.shift_px + 1.5)
    assert abs(np.mean(errors)) < 0.7
    assert np.std(errors) < 1.0


@pytest.mark.parametrize("modality", ["XA", "US"])
def test_where_there_is_no_edge_none_is_proposed(modality):
    plain = np.full((200, 240), 100.0) + np.random.default_rng(2).normal(0, 2, (200, 240))
    for end in (0, 1):
        found = refine_end(plain, across(70, 170), end, modality=modality)
        assert not found
        assert found.reason


def test_an_edge_too_far_away_or_off_the_picture_is_not_proposed():
    far = refine_end(tube(), across(85.0, 170.0), 0, modality="XA")
    assert not far
    border = refine_end(tube(), across(70.0, 237.0), 1, modality="XA")
    assert "border" in border.reason


def test_nothing_but_an_end_on_a_wall_is_refined():
    with pytest.raises(InputError, match="only the two ends"):
        refine_end(tube(), across(70, 170), 2, modality="XA")
    with pytest.raises(InputError, match="on no wall"):
        refine_end(tube(), across(70, 170, measurand=MEASURANDS["depth"]), 0, modality="XA")


def test_an_accepted_shift_changes_points_origin_and_the_ends_uncertainty_only():
    one = across(72.0, 168.0, u_end_mm=None, note="kept")
    found = {end: refine_end(tube(), one, end, modality="XA") for end in (0, 1)}
    refined = with_refinements(one, found)
    assert refined.origin == "refined"
    assert refined.points[0].column == pytest.approx(70, abs=0.5)
    both = math.hypot(found[0].u_px, found[1].u_px)
    assert refined.u_end_px * math.sqrt(2) == pytest.approx(both)
    assert replace(refined, points=one.points, origin="drawn", u_end_px=None) == one
    assert with_refinements(one, {}) == one


def test_a_placing_stated_in_mm_is_not_dropped_for_the_end_that_stays():
    one = across(72.0, 168.0, u_end_px=None, u_end_mm=3.0)
    found = {end: refine_end(tube(), one, end, modality="XA") for end in (0, 1)}
    with pytest.raises(InputError, match="placed to 3 mm"):
        with_refinements(one, {0: found[0]})
    assert with_refinements(one, found).u_end_mm is None


# ---------------------------------------------------------------- following
def texture(seed=1):
    return (
        scipy.ndimage.gaussian_filter(np.random.default_rng(seed).normal(0, 1, (200, 240)), 3.0)
        * 100
    )


@pytest.mark.parametrize("move", [(0.0, 0.0), (0.4, -0.7), (2.3, 1.6), (-3.0, 2.5)])
def test_a_patch_is_found_where_it_was_moved_to(move):
    frame = texture()
    moved = 1.4 * scipy.ndimage.shift(frame, move, order=3, mode="reflect") + 30  # brighter, too
    found = find_patch(
        moved, patch_at(frame, (100.0, 120.0), radius_px=12), (100.0, 120.0), prior_px=3.0
    )
    assert found.place == pytest.approx((100 + move[0], 120 + move[1]), abs=0.1)
    assert found.correlation > 0.98


def moving(count=12, *, noise=3.0):
    rng = np.random.default_rng(5)
    frames, edges = [], []
    for n in range(count):
        swing = 6 * math.sin(2 * math.pi * n / count)
        left, right = 70 - swing, 170 + swing
        frames.append(
            tube(left, right, noise=noise)
            + 40 * scipy.ndimage.gaussian_filter(rng.normal(size=(200, 240)), 2)
        )
        edges.append((left, right))
    return np.array(frames), edges


def test_both_ends_of_a_beating_tube_are_followed_both_ways():
    frames, edges = moving()
    start = 5
    points = [PixelPoint(100, edge) for edge in edges[start]]
    track = track_points(frames, points, start)
    assert [one.frame for one in track.frames] == list(range(12))
    assert not track.lost
    errors = [
        (one.points[1].column - one.points[0].column) - (edges[one.frame][1] - edges[one.frame][0])
        for one in track.frames
    ]
    assert math.sqrt(np.mean(np.square(errors))) < 0.6
    assert track.drift_px < 2.0


def test_a_picture_that_changes_altogether_ends_the_track_and_says_where():
    frames, edges = moving(8)
    frames[6:] = texture(9)[None]
    track = track_points(frames, [PixelPoint(100, e) for e in edges[2]], 2)
    assert track.frames[-1].frame == 5
    assert "lost at frame 6" in track.lost[0]


def test_a_start_outside_the_loop_is_refused():
    frames, edges = moving(4)
    with pytest.raises(InputError, match="frame 7 is not among"):
        track_points(frames, [PixelPoint(100, e) for e in edges[0]], 7)


def test_an_end_that_does_not_come_back_is_known_less_well():
    one = across(70, 170, u_end_px=1.0)
    points = tuple(PixelPoint(point.row, point.column + 2) for point in one.points)
    references = [FrameReference(sop_instance_uid="1.2.3", frame=n) for n in range(2)]
    found = []
    for missed in (0.0, 4.0):
        frames = tuple(
            TrackedFrame(frame=n, points=where, correlation=0.9, return_px=missed * n)
            for n, where in enumerate((one.points, points))
        )
        track = Track(start=0, frames=frames, lost=(), drift_px=0.0)
        curve = measure_track(one, track, references, plain_scale(0.2, 1e-9), modality="XA")
        found.append(curve[1].measurement.result.u)
    # both ends, half of the miss each, in mm along the caliper
    assert found[1] ** 2 - found[0] ** 2 == pytest.approx(2 * (0.2 * 4.0 / 2) ** 2, rel=1e-3)


@pytest.mark.parametrize(("swing_px", "warned"), [(0.0, True), (20.0, False)])
def test_a_curve_that_moves_little_beside_its_noise_says_so(swing_px, warned):
    times = [33.3 * n for n in range(30)]
    found = summarise(followed_curve(times, swing_px), times, rng=np.random.default_rng(1))
    assert any("little beside its noise" in text for text in found.warnings) == warned


def test_frames_of_one_time_give_no_curve():
    times = [33.3 * n for n in range(30)]
    times[7] = times[6]
    with pytest.raises(InputError, match="Frames 6 and 7 do not follow one another"):
        summarise(followed_curve(times, 20.0), times, rng=np.random.default_rng(1))


def followed_curve(times, swing_px):
    one = across(70, 170, u_end_px=1.0)
    right = 170 + swing_px * np.cos(np.array(times) / 150) + RNG.normal(0, 1.0, 30)
    frames = tuple(
        TrackedFrame(
            frame=n,
            points=one.points if n == 0 else (one.points[0], PixelPoint(100, place)),
            correlation=0.9,
            return_px=0.0,
        )
        for n, place in enumerate(right)
    )
    references = [FrameReference(sop_instance_uid="1.2.3", frame=n) for n in range(30)]
    track = Track(start=0, frames=frames, lost=(), drift_px=0.0)
    return measure_track(one, track, references, plain_scale(0.2), modality="XA")
