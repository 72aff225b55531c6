"""The quick scale studies: what is drawn is what is said, and every arm is what its name says."""

import math

import numpy as np
import pytest

from annot.tasks.rehearse import SCALE_KINDS, ball_case, grid_case, marker_case, run_case
from annot.tasks.rehearse.scale_arms import EVERY, MISMATCHES, broken, mismatch_of
from annot.tasks.rehearse.study import chance_of
from synthetic_dicom.object_picture import Lattice, ObjectPicture, Recording


@pytest.mark.parametrize("study", [ball_case, marker_case, grid_case], ids=lambda one: one.__name__)
def test_every_fourth_round_of_the_cells_breaks_an_assumption(study):
    cells = len(study.CELLS)
    rounds = [study.draw(one * cells + 5, chance_of(1, one * cells + 5)) for one in range(16)]
    assert [one.mismatch for one in rounds[: EVERY - 1]] == ["", "", ""]
    assert [one.mismatch for one in rounds[EVERY - 1 :: EVERY]] == list(MISMATCHES)
    for one in rounds:
        recording = one.picture.recording
        assert (recording.tail > 0) == (one.mismatch == "glare")
        assert (recording.veil >= 0.5) == (one.mismatch == "veil")
        assert recording.logarithmic == (one.mismatch == "logarithm")
        assert (recording.correlated_px > 0) == (one.mismatch == "noise")


def test_a_recording_without_a_mismatch_is_left_as_it_is():
    plain = Recording(blur_px=1.0, veil=0.2)
    assert broken(plain, "") == plain
    assert mismatch_of(0, 36) == ""
    assert {broken(plain, one) == plain for one in MISMATCHES} == {False}


def test_a_grid_is_drawn_as_it_says():
    for case in range(0, 36, 3):
        drawn = grid_case.draw(case, chance_of(1, case))
        assert abs(drawn.true_mm / drawn.stated_mm - 1) <= grid_case.TOLERANCE_REL
        ways = np.array([drawn.lattice.way_px, drawn.lattice.other_px]) / drawn.size_px
        least = math.cos(math.radians(drawn.tilt_deg))
        lengths = np.hypot(*ways.T)
        assert np.all((lengths <= 1 + 1e-9) & (lengths >= least - 1e-9))
        # seen square to the axis of its tilt nothing is lost: the area says how far it is tilted
        assert least - 1e-9 <= abs(np.linalg.det(ways)) <= 1 + 1e-9
        margin = 1.4 * drawn.size_px
        shape = np.array([drawn.picture.rows, drawn.picture.columns])
        assert np.all(drawn.corners_px > margin)
        assert np.all(drawn.corners_px < shape - margin)


@pytest.mark.parametrize("wires", [True, False])
def test_a_lattice_is_deepest_at_its_nodes_and_empty_between_and_beyond(wires):
    grid = Lattice(
        first_px=(30.0, 31.0), way_px=(18.0, 6.0), other_px=(-5.0, 19.0), counts=(4, 3),
        thick_px=4.0, per_px=0.2, wires=wires,
    )  # fmt: skip
    nodes = np.array([grid.node_px(i, j) for i in range(4) for j in range(3)])
    at_nodes = grid.attenuation(*nodes.T)
    # two wires cross in a node, each a cylinder's chord; a bead's own diameter else
    assert at_nodes == pytest.approx(np.full(12, (2 if wires else 1) * 4.0 * 0.2))
    way, other = np.array(grid.way_px), np.array(grid.other_px)
    between = nodes[0] + 0.5 * (way + other)
    beyond = nodes[0] - 1.0 * way
    assert np.all(grid.attenuation(*np.array([between, beyond]).T) == 0)
    along = grid.attenuation(*np.array([nodes[0] + 0.5 * way]).T)
    assert (along > 0)[0] == wires


def test_a_small_grid_is_scaled_through_its_file():
    trials = run_case(SCALE_KINDS["grid"], 2, seed=1)
    assert [one.labels["quantity"] for one in trials] == ["size, fit alone", "scale"]
    for one in trials:
        assert one.refusal == ""
        assert one.error_rel == pytest.approx(0.0, abs=0.02)


def test_a_picture_of_a_grid_has_the_grids_contrast():
    drawn = grid_case.draw(3, chance_of(1, 3))
    bare = ObjectPicture(
        rows=drawn.picture.rows, columns=drawn.picture.columns, shapes=(drawn.lattice,),
        recording=Recording(blur_px=drawn.picture.recording.blur_px),
    )  # fmt: skip
    depth = 1 - float(bare.intensity().min())
    recording = drawn.picture.recording
    contrast = grid_case.CELLS[3][2]
    assert depth * (1 - recording.veil) / recording.noise == pytest.approx(contrast, rel=1e-6)
