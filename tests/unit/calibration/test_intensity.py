"""Stored values back to intensity, and a size that says what the file left open."""

import dataclasses

import numpy as np
import pytest

from annot.calibration.allowances import FILLING_REL, RELATION_REL
from annot.calibration.intensity import Intensities, StoredPixels, intensities
from annot.calibration.known_objects import KnownSize
from annot.calibration.object_in_frame import SeenSize, over_readings, size_in_frames
from annot.calibration.request import ObjectReading, ObjectRequest
from annot.calibration.scale import NoScale
from annot.uncertainty import expand

TOP = 4095.0


def stored_as_logarithm(counts, gain=1.0):
    """What a detector that spreads ln(1 … 1 + top) over all values would store."""
    return np.round(gain * TOP / np.log1p(TOP) * np.log(np.maximum(counts, 1))).astype(np.uint16)


def request(shaft, **more):
    known = {"filling": "empty", "material": "nylon", "other_mm": 1.3, **more}
    return ObjectRequest(
        kind="catheter",
        size=KnownSize(name="shaft", size_mm=2.0, tolerance_mm=0.01, source="test"),
        readings=(ObjectReading(frame=0, points=shaft.trace()),),
        **known,
    )


def seen(shaft, frame, stored, **more):
    return size_in_frames(
        {0: frame}, request(shaft, **more), key="k", full_scale=TOP, aspect=1.0, stored=stored
    )


@pytest.fixture(scope="module")
def dense(shaft):
    return dataclasses.replace(shaft, wall=1.5)


def size_of(found):
    assert isinstance(found, SeenSize), found
    return found.size.value


def test_proportional_values_stay_as_they_are():
    frame = np.arange(12, dtype=np.uint16).reshape(3, 4)
    light = intensities({0: frame}, StoredPixels(relation="LIN"), full_scale=TOP)
    assert len(light.readings) == 1
    assert light.readings[0][0] is frame
    assert not light.note


def test_values_that_fall_with_intensity_are_turned_round(dense):
    counts = dense.picture(seed=2)
    upright = seen(dense, counts, StoredPixels())
    turned = seen(dense, (TOP - counts).astype(np.uint16), StoredPixels(sign=-1))
    assert size_of(turned) == pytest.approx(size_of(upright), rel=1e-9)
    assert isinstance(seen(dense, (TOP - counts).astype(np.uint16), StoredPixels()), NoScale)


def test_the_files_own_table_undoes_its_logarithm(dense):
    counts = dense.picture(seed=2)
    logarithm = stored_as_logarithm(counts)

    def table(values):
        return np.exp(np.asarray(values, dtype=float) * np.log1p(TOP) / TOP)

    with_table = seen(dense, logarithm, StoredPixels(relation="LOG", to_intensity=table))
    assert size_of(with_table) == pytest.approx(
        size_of(seen(dense, counts, StoredPixels())), rel=2e-3
    )
    assert not any("logarithms" in one for one in with_table.notes)
    assert not any(line.input.key.endswith(":relation") for line in with_table.size.lines)


@pytest.mark.parametrize("gain", [0.75, 0.9, 1.05])
def test_a_logarithm_without_its_table_is_undone_and_its_gain_is_in_the_interval(gain, dense):
    logarithm = stored_as_logarithm(dense.picture(seed=2), gain)
    found = seen(dense, logarithm, StoredPixels(relation="LOG"))
    assert any("without the table" in one for one in found.notes)
    assert any(line.input.key == "k:relation" for line in found.size.lines)
    assert expand(found.size).holds(dense.outer_px)


def test_a_logarithm_taken_for_intensity_reads_small(dense):
    """Why: after a logarithm a blurred shadow looks thinner (check `cylinder-beer`, after_log)."""
    fainter = dataclasses.replace(dense, wall=1.0)
    logarithm = stored_as_logarithm(fainter.picture(seed=2))
    wrong = size_of(seen(fainter, logarithm, StoredPixels()))
    right = size_of(seen(fainter, logarithm, StoredPixels(relation="LOG")))
    assert wrong < right - 0.005 * right


def test_a_logarithm_taken_for_intensity_is_not_believed(dense):
    """It makes a blurred shadow thinner (check `cylinder-beer`, after_log) and far too faint."""
    logarithm = stored_as_logarithm(dense.picture(seed=2))
    wrong = seen(dense, logarithm, StoredPixels())
    assert isinstance(wrong, NoScale)
    assert "of the light were scatter" in wrong.reason
    right = size_of(seen(dense, logarithm, StoredPixels(relation="LOG")))
    assert right == pytest.approx(dense.outer_px, rel=0.02)


def test_a_reading_that_cannot_be_fitted_leaves_the_allowance_open(dense):
    """Half-width 4 %, rectangular: what the other reading says is not known to be nothing."""
    first = seen(dense, dense.picture(seed=2), StoredPixels())
    light = Intensities(readings=({}, {}), full_scale=(TOP, TOP), note="open")
    found = over_readings(first, [NoScale(reason="too faint")], light, "k")
    [line] = [line for line in found.size.lines if line.input.key == "k:relation"]
    assert line.input.u == pytest.approx(RELATION_REL.value / np.sqrt(3))


@pytest.mark.parametrize("relation", ["DISP", "OTHER", None])
def test_an_unknown_relation_is_a_component_that_a_person_sees(relation, dense):
    found = seen(dense, dense.picture(seed=2), StoredPixels(relation=relation))
    [line] = [line for line in found.size.lines if line.input.key == "k:relation"]
    assert line.input.u > 0
    assert any("the beam's intensity" in one for one in found.notes)
    assert size_of(found) == size_of(seen(dense, dense.picture(seed=2), StoredPixels()))


def test_filling_and_material_are_a_component_whatever_is_stated_and_no_correction(shaft):
    """Studies contradict one another on either, so knowing them takes nothing away."""
    picture = shaft.picture(seed=2)
    stated = seen(shaft, picture, StoredPixels())
    silent = seen(shaft, picture, StoredPixels(), material="")
    assert size_of(stated) == size_of(silent)
    for one in (stated, silent):
        [line] = [line for line in one.size.lines if line.input.key == "k:filling"]
        assert line.input.u == pytest.approx(FILLING_REL.value / np.sqrt(3))
        assert any("studies contradict each other" in note for note in one.notes)


def test_the_naive_width_is_shown_beside_and_is_smaller(shaft):
    solid = dataclasses.replace(shaft, lumen_ratio=0.1)
    found = seen(solid, solid.picture(seed=2), StoredPixels(), other_mm=0.2)
    # a faint cylinder with this blur: 0.824 (check `cylinder-width`, blur 0.1 diameters)
    assert found.details["half_depth_px"] == pytest.approx(0.83 * solid.outer_px, rel=0.04)
    assert size_of(found) == pytest.approx(solid.outer_px, rel=0.02)
