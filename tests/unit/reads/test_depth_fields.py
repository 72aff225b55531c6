"""How a read file states a difference in depth: three ways, one at a time, there and back."""

import json
from dataclasses import replace
from typing import get_args

import pytest
from hypothesis import given
from hypothesis import strategies as st

from annot.calibration import BorrowedRequest, HeaderRequest, Placing, all_depth_presets
from annot.errors import InputError
from annot.reads import parse_request, read_of
from annot.reads.depth_fields import DepthPreset
from annot.reads.object_parts import part_of, request_of
from annot.reads.read_file import parse
from tests.strategies import catheter_requests

ranges = st.tuples(st.floats(-200, 200), st.floats(-200, 200)).map(
    lambda pair: (min(pair), max(pair))
)
depths = st.one_of(
    st.just({}),
    st.fixed_dictionaries({"depth_offset_mm": st.floats(0, 100)}),
    st.fixed_dictionaries({"depth_range_mm": ranges}),
    st.fixed_dictionaries({"depth_preset": st.sampled_from(sorted(all_depth_presets()))}),
)
CATHETER = {"kind": "catheter", "size_fr": 6, "axis_px": [[0, 0], [0, 50]]}


def test_the_file_knows_every_preset_and_no_other():
    assert set(get_args(DepthPreset)) == set(all_depth_presets())


@given(depths)
def test_a_header_and_a_borrowed_scale_keep_their_depth(stated):
    for request in (
        HeaderRequest(placing=Placing(**stated)),
        BorrowedRequest(file="a.dcm", placing=Placing(**stated, overrule="why")),
    ):
        assert request_of(part_of(request)) == request


@given(catheter_requests(), depths)
def test_an_object_keeps_its_depth(request_, stated):
    placing = Placing(**stated, tilt_deg=request_.placing.tilt_deg)
    asked = replace(request_, placing=placing)
    assert request_of(part_of(asked)) == asked


@pytest.mark.parametrize(
    ("fields", "words"),
    [
        ({"depth_offset_mm": 5, "depth_preset": "beside"}, "two ways"),
        ({"depth_range_mm": [20, 10]}, "runs backwards"),
        ({"depth_range_mm": [20]}, "depth_range_mm"),
        ({"depth_preset": "elsewhere"}, "depth_preset"),
        ({"depth_offset_mm": -5}, "depth_offset_mm"),
    ],
)
@pytest.mark.parametrize("part", [CATHETER, {"kind": "header"}, {"from": "a.dcm"}])
def test_depth_at_fault_is_one_sentence(part, fields, words):
    with pytest.raises(InputError, match=words):
        parse_request({**part, **fields}, name="mine.json")


def test_a_read_files_sentence_names_the_loop():
    text = json.dumps(
        {
            "annot_read": 1,
            "reader": "A",
            "loops": [{"file": "a.dcm", "scale": {"kind": "header", "depth_range_mm": [2, 1]}}],
        }
    )
    with pytest.raises(InputError, match=r"^mine.json: a.dcm: The range of depth 2 to 1 mm runs"):
        read_of(parse(text, name="mine.json"), name="mine.json")
