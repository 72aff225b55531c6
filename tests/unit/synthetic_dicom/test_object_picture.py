"""Pictures of one object: sizes, blur, scatter and noise are what they are said to be."""

from dataclasses import replace

import numpy as np
import pytest

from synthetic_dicom.course import Course
from synthetic_dicom.object_picture import (
    BallShape,
    ObjectPicture,
    Recording,
    SoftEdge,
    TubeShape,
)
from synthetic_dicom.shaft_profile import ShaftProfile

LEVEL = Course(start_mm=(-200.0, 60.0), end_mm=(400.0, 60.0), height_mm=0.0)


def tube_picture(*, course=LEVEL, recording=None, outer=13.0, inner=9.1, wall=1.0, lumen=0.0):
    tube = TubeShape(
        course=course,
        outer_px=outer,
        inner_px=inner,
        wall_per_px=wall / outer,
        lumen_per_px=lumen / outer,
    )
    recording = recording or Recording(blur_px=1.3)
    return ObjectPicture(rows=121, columns=61, shapes=(tube,), recording=recording)


def half_depth_width(missing, step):
    """Width at half of the deepest value, linearly between samples."""
    half = missing.max() / 2
    inside = np.flatnonzero(missing >= half)
    first, last = inside[0], inside[-1]
    low = first - (missing[first] - half) / (missing[first] - missing[first - 1])
    high = last + (missing[last] - half) / (missing[last] - missing[last + 1])
    return (high - low) * step


# Half-maximum width over diameter of a faint solid rod, by Gaussian blur over diameter: computed
# for the specification of this project from the chord 2√(R² − x²); 0.866 at no blur is √3/2.
FAINT_ROD = {0.05: 0.84369, 0.10: 0.82393, 0.20: 0.85072, 0.30: 0.96421}


@pytest.mark.parametrize(("blur", "expected"), FAINT_ROD.items())
def test_a_faint_rod_has_the_half_maximum_width_of_the_table(blur, expected):
    rod = ShaftProfile(
        outer_px=60.0,
        inner_px=0.0,
        wall_per_px=1e-5,
        lumen_per_px=0.0,
        blur_px=60.0 * blur,
        veil=0.0,
    )
    offset = np.arange(-80.0, 80.0, 0.05)
    assert half_depth_width(rod.absorbed(offset), 0.05) / 60.0 == pytest.approx(expected, abs=5e-4)


def test_a_faint_shadow_holds_the_area_of_the_section():
    # ∫ chord dx = π D²/4, whatever the blur; attenuation 1e-4 makes 1 − exp(−x) linear to 1e-3
    picture = tube_picture(inner=0.0, wall=1e-4 * 13.0)
    column = (1.0 - picture.intensity())[:, 30].sum() / 1e-4
    assert column == pytest.approx(np.pi * 13.0**2 / 4, rel=1.5e-3)


def test_a_picture_of_a_level_shaft_is_its_profile():
    profile = ShaftProfile(
        outer_px=13.0, inner_px=9.1, wall_per_px=1 / 13, lumen_per_px=0.0, blur_px=1.3, veil=0.2
    )
    picture = tube_picture(recording=Recording(blur_px=1.3, veil=0.2))
    seen = 1.0 - picture.intensity()[:, 30]
    assert np.abs(seen - profile.absorbed(np.arange(121) - 60.0)).max() < 2e-3 * profile.peak() * 4


@pytest.mark.parametrize("blur", [0.3, 0.65, 1.3, 4.0])
def test_a_finer_grid_changes_next_to_nothing(blur):
    course = Course(
        start_mm=(-200.0, 20.0), end_mm=(300.0, 90.0), height_mm=0.0, bend_per_mm=1 / 900
    )
    usual = tube_picture(course=course, recording=Recording(blur_px=blur))
    finer = replace(usual, fine=10)
    missing = 1.0 - finer.intensity()
    assert (1.0 - usual.intensity()).sum() == pytest.approx(missing.sum(), rel=2e-4)


def test_a_curved_shaft_stays_as_wide():
    curved = Course(
        start_mm=(-200.0, 60.0), end_mm=(260.0, 60.0), height_mm=0.0, bend_per_mm=1 / 900
    )
    straight = (1.0 - tube_picture().intensity())[:, 30].sum()
    middle = 1.0 - tube_picture(course=curved).intensity()[:, 30]
    assert middle.sum() == pytest.approx(straight, rel=1e-3)
    assert abs(int(np.argmax(middle)) - 60) > 20


def test_a_ball_holds_its_volume():
    ball = BallShape(centre_px=(60.2, 30.1), diameter_px=24.0, per_px=1e-4)
    picture = ObjectPicture(rows=121, columns=61, shapes=(ball,), recording=Recording(blur_px=1.3))
    volume = (1.0 - picture.intensity()).sum() / 1e-4
    assert volume == pytest.approx(np.pi * 24.0**3 / 6, rel=2e-3)


def test_scatter_and_slope_and_edge_are_as_said():
    flat = ObjectPicture(
        rows=41, columns=41, shapes=(), recording=Recording(blur_px=1.0, slope=(0.001, -0.002))
    )
    seen = flat.intensity()
    assert seen[20, 20] == pytest.approx(1.0)
    assert seen[30, 20] / seen[20, 20] == pytest.approx(1.01, abs=1e-6)
    assert seen[20, 30] / seen[20, 20] == pytest.approx(0.98, abs=1e-6)
    edge = SoftEdge(through_px=(20.0, 20.0), angle_deg=0.0, width_px=2.0, depth=0.2)
    far = replace(flat, shapes=(edge,), recording=Recording(blur_px=1.0, veil=0.5)).intensity()
    assert far[40, 20] == pytest.approx(0.5 * np.exp(-0.2) + 0.5, abs=1e-4)
    assert far[0, 20] == pytest.approx(1.0, abs=1e-4)


@pytest.mark.parametrize("correlated", [0.0, 0.7])
def test_noise_has_its_size_and_goes_with_the_root_of_the_intensity(correlated):
    recording = Recording(blur_px=1.0, noise=0.05, correlated_px=correlated)
    dark = SoftEdge(through_px=(100.0, 0.0), angle_deg=0.0, width_px=1.0, depth=np.log(4.0))
    picture = ObjectPicture(rows=200, columns=200, shapes=(dark,), recording=recording)
    stored = picture.stored(np.random.default_rng(1)).astype(float)
    bright, shaded = stored[:80], stored[120:]
    assert bright.std() / bright.mean() == pytest.approx(0.05, rel=0.03)
    assert shaded.mean() / bright.mean() == pytest.approx(0.25, rel=0.01)
    assert shaded.std() / bright.std() == pytest.approx(0.5, rel=0.04)
    together = (
        np.mean((bright[:, 1:] - bright.mean()) * (bright[:, :-1] - bright.mean())) / bright.var()
    )
    assert (together > 0.3) == (correlated > 0)


def test_logarithms_are_stored_on_request():
    linear = tube_picture()
    logarithmic = replace(linear, recording=replace(linear.recording, logarithmic=True))
    rng = np.random.default_rng
    plain, logged = linear.stored(rng(1)) / 4095, logarithmic.stored(rng(1)) / 4095
    assert logged == pytest.approx(1 + np.log(plain) / np.log(100.0), abs=1e-3)


def test_the_same_chance_gives_the_same_picture():
    picture = tube_picture(recording=Recording(blur_px=1.0, noise=0.1, tail=0.2, veil=0.1))
    first, again = (picture.stored(np.random.default_rng(5)) for _ in range(2))
    assert np.array_equal(first, again)
    assert not np.array_equal(first, picture.stored(np.random.default_rng(6)))


def test_glare_widens_the_foot_and_keeps_the_area():
    sharp, glaring = (
        1.0 - tube_picture(recording=Recording(blur_px=1.3, tail=tail)).intensity()[:, 30]
        for tail in (0.0, 0.2)
    )
    assert glaring.sum() == pytest.approx(sharp.sum(), rel=2e-3)
    assert glaring[49] > 3 * sharp[49]
