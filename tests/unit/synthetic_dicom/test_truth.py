"""The truth file: round trip, completeness, everything inside the picture."""

import json
from dataclasses import asdict

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from synthetic_dicom.case_truth import truth_of
from synthetic_dicom.cases import CASES, render_case, write_case
from synthetic_dicom.truth import truth_from_json, truth_to_json


@pytest.mark.parametrize("name", ["xa_sphere", "us_two_regions", "us_no_region", "sc_single"])
def test_json_round_trip_is_exact(name, tmp_path):
    frames = 1 if CASES[name].frames == 1 else 3
    made = write_case(name, tmp_path, frames=frames)
    text = made.truth_path.read_text(encoding="utf-8")
    assert truth_from_json(text) == made.truth
    assert truth_to_json(truth_from_json(text)) == text


def test_the_file_has_the_agreed_keys(tmp_path):
    made = write_case("xa_clean", tmp_path, frames=3)
    content = json.loads(made.truth_path.read_text(encoding="utf-8"))
    assert content["synthetic_truth"] == 1
    assert made.truth_path.name == "xa_clean.truth.json"
    assert set(content["geometry"]) == {
        "sid_mm",
        "sod_mm",
        "imager_spacing_mm",
        "primary_deg",
        "secondary_deg",
    }
    thing = content["objects"][0]
    assert thing["kind"] == "catheter"
    assert thing["filling"] == "empty"
    assert thing["surface"] == "outer"
    assert thing["size_mm"] == 2.0
    assert len(thing["shift_px"]) == len(content["frame_times_ms"]) == 3
    assert thing["shift_px"][0] == [0.0, 0.0]


@pytest.mark.parametrize("text", ["[]", "{}", '{"synthetic_truth": 2}', '{"synthetic_truth": "x"}'])
def test_other_json_is_refused(text):
    with pytest.raises(ValueError, match="no synthetic truth of version 1"):
        truth_from_json(text)


@settings(max_examples=25, deadline=None)
@given(seed=st.integers(0, 100_000), name=st.sampled_from(sorted(CASES)))
def test_everything_lies_within_the_picture_in_every_frame(seed, name):
    truth = truth_of(CASES[name], seed=seed, frames=min(CASES[name].frames, 45))
    size = np.array([truth.rows, truth.columns])
    marked = (*truth.calipers, *truth.derived, *truth.device, *truth.landmarks)
    places = [point for one in marked for point in one.points_px]
    for thing in truth.objects:
        own = [*(thing.axis_px or ()), *(thing.band_px or ()), *(thing.edge_px or ())]
        own += [node for line in thing.node_px or () for node in line]
        if thing.centre_px is not None:
            centre, radius = np.array(thing.centre_px), thing.radius_px
            own += [tuple(centre - radius), tuple(centre + radius)]
        moved = np.array(own)[:, np.newaxis] + np.array(thing.shift_px)[np.newaxis]
        places += [tuple(point) for point in moved.reshape(-1, 2)]
    inside = np.array(places)
    assert (inside >= 8.0).all()
    assert (inside <= size - 9.0).all()


PHANTOMS = {"xa_wire_grid", "xa_bead_grid", "xa_step"}
SQUARE = {"us_square_ostium", "us_square_zone"}


@pytest.mark.parametrize("name", sorted(PHANTOMS))
def test_a_phantom_shows_no_appendage_and_holds_still(name):
    truth = truth_of(CASES[name], seed=1)
    assert truth.calipers == ()
    assert truth.objects[0].shift_px == ((0.0, 0.0),) * 4
    with pytest.raises(KeyError, match="no true ostium_width"):
        truth.caliper("ostium_width", 0)


@pytest.mark.parametrize("name", sorted(set(CASES) - PHANTOMS - SQUARE))
def test_every_frame_has_its_three_calipers(name):
    truth = truth_of(CASES[name], seed=1, frames=CASES[name].frames)
    planes = 2 if name == "us_two_regions" else 1
    expected = 3 * planes * len(truth.frame_times_ms)
    assert len(truth.calipers) == expected
    for frame in range(len(truth.frame_times_ms)):
        for quantity in ("ostium_width", "landing_zone_width", "depth"):
            assert truth.caliper(quantity, frame).value_mm > 5.0
    with pytest.raises(KeyError, match="no true ostium_width in frame 999"):
        truth.caliper("ostium_width", 999)


@pytest.mark.parametrize("name", ["xa_clean", "us_090"])
@pytest.mark.parametrize("seed", range(6))
def test_the_largest_frame_has_the_largest_ostium_and_is_visible(name, seed):
    truth = truth_of(CASES[name], seed=seed, frames=CASES[name].frames)
    widths = [c.value_mm for c in truth.calipers if c.quantity == "ostium_width"]
    assert widths[truth.largest_frame] == max(widths)
    if name == "xa_clean":
        image = truth.image
        assert image["first_filled_frame"] < truth.largest_frame < image["last_filled_frame"]


def test_scales_and_heights_agree():
    truth = render_case("xa_sphere", frames=1)[1]
    geometry = truth.geometry
    heights = [(truth.anatomy.depth_h_mm, truth.anatomy.mm_per_px)]
    heights += [(thing.depth_h_mm, thing.mm_per_px) for thing in truth.objects]
    for height, scale in heights:
        # Magnification SID/(SOD - h) brings the detector's spacing to the object's depth.
        magnification = geometry.sid_mm / (geometry.sod_mm - height)
        expected = np.array(geometry.imager_spacing_mm) / magnification
        assert scale == pytest.approx(expected)
    assert asdict(truth)["objects"][0]["id"] == "sphere"
