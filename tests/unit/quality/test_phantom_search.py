"""Phantoms are found by themselves, several at once, and nothing is found where there is none."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.ndimage import gaussian_filter  # noqa: TID253 - what draws the pictures here

from annot.errors import InputError
from annot.quality.lattice import find_lattice, find_row
from annot.quality.phantom_search import find_phantoms
from annot.quality.target_search import find_targets, target_row

SHAPE = (300, 320)
ROW, COLUMN = np.mgrid[: SHAPE[0], : SHAPE[1]].astype(float)


def ball(row, column, diameter, depth=1.0):
    chord = np.maximum((diameter / 2) ** 2 - (ROW - row) ** 2 - (COLUMN - column) ** 2, 0)
    return depth * np.sqrt(chord) / (diameter / 2)


def beads(start, pitch, size, turn_deg=0.0, gone=()):
    turn, total = np.deg2rad(turn_deg), 0.0
    for i in range(size[0]):
        for j in range(size[1]):
            if (i, j) not in gone:
                down = start[0] + pitch * (i * np.cos(turn) - j * np.sin(turn))
                total = total + ball(
                    down, start[1] + pitch * (i * np.sin(turn) + j * np.cos(turn)), 8
                )
    return total


def picture(*depths, seed=0, slope=0.3):
    light = 3000 * np.exp(-sum(depths) - slope * COLUMN / SHAPE[1] + 0.1 * (ROW / SHAPE[0]) ** 2)
    rng = np.random.default_rng(seed)
    return np.clip(gaussian_filter(light, 0.8) + rng.normal(0, 20, SHAPE), 0, 4095)


def kinds(frame):
    return sorted(one.kind for one in find_phantoms(frame))


def test_nothing_is_found_on_an_empty_picture():
    assert kinds(picture(0 * ROW)) == []


def test_several_are_found_at_once_and_told_apart():
    strips = sum(0.6 * ((abs(ROW - 190) < 35) & (abs(COLUMN - 200 - 28 * n) < 7)) for n in range(4))
    wire = 0.15 * (abs(ROW - 280) < 5) * ((COLUMN > 20) & (COLUMN < 300))
    bands = sum(0.6 * ((abs(ROW - 280) < 5) & (abs(COLUMN - 50 - 40 * n) < 4)) for n in range(6))
    frame = picture(
        ball(60, 80, 60), ball(60, 180, 30), beads((120, 20), 24, (5, 6), 4), strips, wire, bands
    )
    found = find_phantoms(frame)
    assert sorted(one.kind for one in found) == ["grid", "markers", "sphere", "sphere", "step"]
    sizes = {one.kind: one.size_px for one in found if one.kind != "sphere"}
    assert sizes == pytest.approx({"grid": 24, "markers": 40, "step": 14}, rel=0.02)
    balls = [one for one in found if one.kind == "sphere"]
    assert [one.size_px for one in balls] == pytest.approx([60, 30], rel=0.06)
    assert balls[0].points[0] == pytest.approx((60, 80), abs=1)


def test_corners_of_a_bead_grid_lie_at_its_outermost_nodes_though_beads_are_missing():
    found = find_phantoms(picture(beads((40, 50), 30, (7, 7), 5, gone={(0, 0), (3, 3)})))
    (grid,) = [one for one in found if one.kind == "grid"]
    corners = {tuple(round(part) for part in one) for one in grid.points}
    turn = np.deg2rad(5)
    far = (40 + 180 * np.cos(turn), 50 + 180 * np.sin(turn))
    assert (40, 50) in corners
    assert min(np.hypot(a - far[0], b - far[1]) for a, b in corners) < 1.5


def test_a_grid_of_wires_is_found_by_its_holes():
    lines = sum((abs(ROW - 60 - 30 * n) < 2) * ((COLUMN > 45) & (COLUMN < 225)) for n in range(6))
    lines = lines + sum(
        (abs(COLUMN - 60 - 30 * n) < 2) * ((ROW > 45) & (ROW < 225)) for n in range(6)
    )
    (grid,) = find_phantoms(picture(0.5 * lines))
    assert grid.kind == "grid"
    assert grid.size_px == pytest.approx(30, rel=0.01)
    assert min(grid.points, key=sum) == pytest.approx((60, 60), abs=1.5)


def test_a_phantom_under_the_shutter_is_not_looked_at():
    frame = picture(ball(60, 80, 60))
    hidden = np.zeros(SHAPE, dtype=bool)
    frame[:, :140] = 0
    hidden[:, :140] = True
    assert find_phantoms(frame, hidden=hidden) == ()


@settings(max_examples=25)
@given(st.floats(-40, 40), st.integers(4, 9), st.integers(4, 9), st.integers(0, 1000))
def test_a_lattice_is_found_among_strays_however_it_is_turned(turn_deg, one, two, seed):
    rng, turn = np.random.default_rng(seed), np.deg2rad(turn_deg)
    step = 20 * np.array([[np.cos(turn), np.sin(turn)], [-np.sin(turn), np.cos(turn)]])
    index = np.stack(np.meshgrid(np.arange(one), np.arange(two), indexing="ij"), -1).reshape(-1, 2)
    nodes = index @ step + rng.normal(0, 0.3, (len(index), 2))
    strays = rng.uniform(300, 500, (5, 2))
    found = find_lattice(rng.permutation(np.concatenate([nodes, strays])))
    assert found is not None
    assert sorted(found.size) == sorted((one, two))
    assert found.spacing == pytest.approx(20, rel=0.02)


def test_a_row_goes_over_one_empty_place_and_round_a_bend():
    angle = np.delete(np.arange(0, 9) * 0.15, 4)
    points = 100 * np.stack([np.sin(angle), 1 - np.cos(angle)], axis=1)
    row = find_row(np.concatenate([points, [[300.0, 10.0]]]))
    assert row is not None
    assert len(row.points) == 8
    assert row.spacing == pytest.approx(15, rel=0.02)
    assert find_row(points[:3]) is None


# ---------------------------------------------------------------- ultrasound targets
def echo(mm_per_px=(0.2, 0.25), spacing=(10.0, 10.0), seed=3):
    rng = np.random.default_rng(seed)
    speckle = gaussian_filter(rng.gamma(2, 12, SHAPE), 1.0)
    spots = [(20 + n * spacing[0] / mm_per_px[0], 160.0) for n in range(6)]
    spots += [(120.0, 160 + n * spacing[1] / mm_per_px[1]) for n in (-3, -2, -1, 1, 2, 3)]
    for row, column in spots:
        speckle += 200 * np.exp(-((ROW - row) ** 2) / 4 - (COLUMN - column) ** 2 / 16)
    return np.clip(speckle, 0, 255).astype(np.uint8)


def test_targets_are_measured_centre_to_centre_in_both_directions():
    places = find_targets(echo())
    for down, gaps in ((True, 5), (False, 6)):
        row = target_row(places, (0.2, 0.25), down=down, expected_mm=10)
        assert row.gaps == gaps
        assert row.spacing_mm == pytest.approx(10, abs=4 * row.u_spacing_mm + 1e-3)
        assert row.u_spacing_mm < 0.05


def test_a_target_that_is_not_seen_leaves_the_distance_of_the_outermost_as_it_is():
    """Seven places 10 mm apart, one of them empty: 60 mm, and a scale 4 % off makes it 62.4."""
    places = np.array([[50.0, 40.0 + 40 * n] for n in (0, 1, 2, 4, 5, 6)])
    row = target_row(places, (0.25, 0.26), down=False, expected_mm=10)
    assert (row.gaps, len(row.places_px)) == (6, 6)
    assert row.gaps * row.spacing_mm == pytest.approx(62.4)


def test_a_wrong_region_shows_and_an_empty_picture_is_refused():
    row = target_row(find_targets(echo()), (0.2, 0.26), down=False, expected_mm=10)
    assert row.spacing_mm == pytest.approx(10.4, abs=0.05)
    with pytest.raises(InputError, match="name the spacing"):
        target_row(find_targets(echo()), (0.2, 0.25), down=True, expected_mm=20)
    with pytest.raises(InputError, match="no row of four targets"):
        target_row(find_targets(np.full(SHAPE, 7)), (0.2, 0.2), down=True, expected_mm=10)
