"""Two scales on one loop: E_n between them, what they share, and what a row says."""

import pytest

from annot.calibration import (
    GivenRequest,
    HeaderRequest,
    MadeScale,
    PixelScale,
    candidate_scales,
    compared,
    make_scale,
)
from annot.calibration.scale_agreement import compare_scales
from annot.geometry import PixelPoint
from annot.uncertainty import covariance
from tests.strategies import catheter_scale, echo_header, header, plain_scale, region, view
from tests.unit.calibration.conftest import StoredLoop


def given(mm_per_px: float, u_rel: float = 0.01, its_header=None):
    request = GivenRequest(mm_per_px=(mm_per_px, mm_per_px), u_rel=u_rel)
    return make_scale(StoredLoop(header=its_header or header()), request)


def test_a_scale_near_the_headers_agrees_with_it():
    """Header: 0.15 mm, u 3.28 % with depth; given: 0.155 mm, u 1 %. By hand E_n = 0.49."""
    [other] = given(0.155).others
    assert other.scale.kind == "header"
    expected = 0.005 / (2 * (0.155**2 * 0.01**2 + other.scale.row.u**2) ** 0.5)
    assert other.score.e_n == pytest.approx(expected, rel=1e-6)
    assert other.percent == pytest.approx(100 * (0.155 / 0.15 - 1))
    assert "agree within" in other.verdict
    assert other.warning == ""


def test_a_scale_far_off_the_headers_is_warned_of_in_its_own_words():
    made = given(0.19)
    [other] = made.others
    assert other.score.e_n > 1
    [text] = [one for one in made.scale.warnings if "E_n" in one]
    assert text.startswith("the scale is +26.7 % off another of the same loop, 0.15 mm/px")
    assert "check size, unit and trace" in text
    assert compared(made, header()).scale == made.scale  # said once


def test_what_is_shown_is_kind_size_uncertainty_and_verdict():
    [facts] = [one.facts() for one in given(0.155).others]
    assert set(facts) == {"kind", "scale_id", "basis", "mm_per_px", "u_rel", "e_n", "verdict"}
    assert facts["mm_per_px"] == pytest.approx(0.15)


def test_two_of_one_headers_scales_share_their_system_and_depth():
    """GEOMETRY and the isocentre's both rest on the stand: what they share counts in neither."""
    its_header = header(
        system="5e5e5e5e",
        xray=view(calibration_type="GEOMETRY", pixel_spacing_mm=(0.156, 0.156)),
    )
    made = make_scale(StoredLoop(header=its_header), HeaderRequest())
    assert isinstance(made.scale, PixelScale)
    [other] = made.others
    own = covariance(made.scale.row, other.scale.row)
    assert own > 0
    u_difference = (made.scale.row.u**2 + other.scale.row.u**2 - 2 * own) ** 0.5
    assert other.score.e_n == pytest.approx(0.006 / (2 * u_difference), rel=1e-4)
    apart = 0.006 / (2 * (made.scale.row.u**2 + other.scale.row.u**2) ** 0.5)
    assert other.score.e_n > apart


def test_the_scale_in_use_is_not_compared_with_itself():
    its_header = header()
    for request in (HeaderRequest(), HeaderRequest(u_rel=0.02)):
        made = make_scale(StoredLoop(header=its_header), request)
        assert made.others == ()


def test_an_objects_depth_is_not_the_isocentres():
    """Both are unknown by ±20 mm, for different reasons: nothing of it cancels."""
    its_header = header()
    used = catheter_scale(geometry=None)
    [other] = compare_scales(used, candidate_scales(its_header))
    assert covariance(used.row, other.scale.row) == 0


def test_of_echo_regions_only_the_one_that_holds_there_is_compared():
    left = region()
    right = region(min_x0=510, max_x1=630, delta_x=0.1, delta_y=0.1)
    its_header = echo_header(left, right)
    used = plain_scale(0.4)
    candidates = candidate_scales(its_header)
    at_left = compare_scales(used, candidates, at=[PixelPoint(100, 200)])
    assert [one.scale.row.value for one in at_left] == pytest.approx([0.4])
    at_right = compare_scales(used, candidates, at=[PixelPoint(100, 600)])
    assert [one.scale.row.value for one in at_right] == pytest.approx([1.0])
    assert at_right[0].warning.startswith("the scale is -60.0 % off")
    assert compare_scales(used, candidates) == ()


def test_a_loop_without_another_scale_has_none_to_compare():
    capture = header(modality="OT", xray=None)
    made = given(0.2, its_header=capture)
    assert made.others == ()
    assert not any("E_n" in one for one in made.scale.warnings)


def test_what_is_no_scale_is_not_compared():
    none = MadeScale(scale=header_or_none())
    assert compared(none, header()) is none


def header_or_none():
    bare = header(xray=view(imager_pixel_spacing_mm=None))
    return make_scale(StoredLoop(header=bare), HeaderRequest()).scale
