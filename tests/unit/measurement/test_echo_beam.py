"""Echo: resolution and speed of sound by the beam's direction; the sector's apex."""

import math
from dataclasses import replace

import numpy as np
import pytest

from annot.geometry import PixelPoint
from annot.measurement import Beam, Known, measure_caliper
from annot.measurement.echo_sector import NoApex, fit_apex
from annot.measurement.placement import ECHO_AXIAL_MM, ECHO_LATERAL_REL, SOUND_SPEED_REL
from annot.uncertainty import covariance
from annot.vocabulary import MEASURANDS
from tests.strategies import caliper, plain_scale

APEX = PixelPoint(20.0, 300.0)
BEAM = Beam(apex=APEX, speed_group="sound-1", source="stated")
EXACT = plain_scale(0.2, 1e-9)


def line(*points, **changes):
    return caliper(measurand=MEASURANDS["distance"], points=points, u_end_px=1e-6, **changes)


def measured(one, beam=BEAM, modality="US"):
    return measure_caliper(one, EXACT, modality=modality, known=Known(beam=beam))


def part(found, suffix):
    return math.sqrt(
        sum(x.contribution**2 for x in found.result.lines if x.input.key.endswith(suffix))
    )


DOWN = line(PixelPoint(120, 300), PixelPoint(220, 300))  # along the middle beam
ACROSS = line(PixelPoint(220, 250), PixelPoint(220, 350))


def test_a_length_along_the_beam_has_the_pulse_s_resolution_and_the_speed_of_sound():
    found = measured(DOWN)
    # by hand: ±δ/2 rectangular at both ends; 20 mm · 2 % rectangular
    assert part(found, "echo-axial") == pytest.approx(
        ECHO_AXIAL_MM.value / math.sqrt(12) * math.sqrt(2)
    )
    assert part(found, "echo-lateral") == pytest.approx(0.0, abs=1e-9)
    assert part(found, "sound-1") == pytest.approx(
        20 * SOUND_SPEED_REL.value / math.sqrt(3), rel=1e-6
    )


def test_a_length_across_the_beam_has_the_beam_s_width_and_no_speed_of_sound():
    found = measured(ACROSS)
    depth = math.hypot(200, 50) * 0.2
    width = ECHO_LATERAL_REL.value * depth
    square = math.cos(math.atan(50 / 200))  # how much of the width lies along the line
    assert part(found, "echo-lateral") == pytest.approx(
        width / math.sqrt(12) * math.sqrt(2) * square, rel=1e-6
    )
    assert part(found, "sound-1") == pytest.approx(0.0, abs=1e-6)


def test_a_slanted_length_mixes_both_by_its_direction():
    """u² = u_axial² cos² + u_lateral² sin², for a line about the middle beam."""
    slant = line(PixelPoint(180, 290), PixelPoint(200, 310))
    found = measured(slant)
    turn = math.atan2(20, 20)
    assert part(found, "sound-1") == pytest.approx(
        found.result.value * math.cos(turn) ** 2 * SOUND_SPEED_REL.value / math.sqrt(3), rel=1e-3
    )


def test_the_speed_of_sound_is_one_error_for_the_loops_of_its_group():
    one, other = measured(DOWN).result, measured(line(*DOWN.points, key="b")).result
    sound = (20 * SOUND_SPEED_REL.value) ** 2 / 3
    assert covariance(one, other) == pytest.approx(sound, rel=1e-3)
    # in another loop the apex lies elsewhere and was found otherwise: still the same error
    elsewhere = Beam(apex=PixelPoint(-10.0, 300.0), speed_group="sound-1", source="fitted")
    same = measured(line(*DOWN.points, key="c"), beam=elsewhere).result
    assert covariance(one, same) == pytest.approx(sound, rel=1e-3)
    stranger = replace(elsewhere, speed_group="sound-2")
    assert covariance(one, measured(line(*DOWN.points, key="d"), beam=stranger).result) < 1e-9


def test_where_the_beam_is_not_known_the_interval_is_wider_and_says_so():
    blind = measured(DOWN, beam=None)
    assert any("beam not known" in text for text in blind.warnings)
    assert blind.result.u > part(measured(DOWN), "echo-axial")
    assert not any("beam not known" in text for text in measured(DOWN).warnings)


def test_xray_has_no_beam_and_a_refined_end_no_blur():
    assert not any("echo" in x.input.key for x in measured(DOWN, modality="XA").result.lines)
    refined = measured(line(*DOWN.points, origin="refined"))
    assert not any("echo" in x.input.key for x in refined.result.lines)


# ---------------------------------------------------------------- the apex
def sector(*, apex=(-30.0, 200.0), half_deg=40.0, shape=(400, 400), reach=380.0):
    rows, columns = np.mgrid[: shape[0], : shape[1]]
    down, across = rows - apex[0], columns - apex[1]
    inside = (np.abs(np.arctan2(across, down)) <= math.radians(half_deg)) & (
        np.hypot(down, across) <= reach
    )
    speckle = np.random.default_rng(4).rayleigh(60.0, shape)
    return np.where(inside, 10 + speckle, 0.0).clip(0, 255).astype(np.uint8)


@pytest.mark.parametrize("apex", [(-30.0, 200.0), (5.0, 200.0), (-10.0, 140.0)])
@pytest.mark.parametrize("half_deg", [20.0, 42.0])
def test_a_sector_s_edges_meet_where_its_beams_start(apex, half_deg):
    found = fit_apex([sector(apex=apex, half_deg=half_deg)])
    assert found
    assert math.dist(found, apex) < 3.0


def test_colours_beside_a_sector_are_not_taken_for_it():
    grey = sector()
    picture = np.repeat(grey[:, :, None], 3, axis=2)
    picture[5:60, 5:12] = (0, 255, 0)
    assert fit_apex([picture]) == fit_apex([grey])


@pytest.mark.parametrize(
    "picture",
    [
        np.zeros((200, 200), np.uint8),
        np.full((200, 200), 90, np.uint8),
        np.random.default_rng(1).integers(0, 255, (200, 200)).astype(np.uint8),
    ],
)
def test_a_picture_that_is_no_sector_has_no_apex(picture):
    assert isinstance(fit_apex([picture]), NoApex)


@pytest.mark.parametrize("turn_deg", [20.0, 60.0, 135.0])
def test_what_is_blurred_along_and_across_a_slanting_beam_is_square_to_each_other(turn_deg):
    """A line at any angle to an oblique beam: the two parts by projection on the two directions."""
    beam_rad = math.atan2(100, 200)  # across over down, of the line's middle
    middle = PixelPoint(APEX.row + 200, APEX.column + 100)
    turn = beam_rad + math.radians(turn_deg)
    half = 2.0
    ends = [
        PixelPoint(
            middle.row + sign * half * math.cos(turn), middle.column + sign * half * math.sin(turn)
        )
        for sign in (-1, 1)
    ]
    found = measured(line(*ends))
    depth = math.hypot(200, 100) * 0.2
    root = math.sqrt(2 / 12)
    along = abs(math.cos(math.radians(turn_deg))) * ECHO_AXIAL_MM.value * root
    across = abs(math.sin(math.radians(turn_deg))) * ECHO_LATERAL_REL.value * depth * root
    assert part(found, "echo-axial") == pytest.approx(along, rel=0.03)
    assert part(found, "echo-lateral") == pytest.approx(across, rel=0.03)
