"""Scales recovered from rendered objects against what the generator made; it shares no code."""

import pytest

from annot.errors import InputError
from annot.loops import open_loop
from annot.reads import parse_request
from annot.tasks.calibrate import scale_loop
from tests.against_truth.readings import catheter_part, sphere_part

WITH_CATHETER = ["xa_clean", "xa_filled", "xa_caudal", "xa_stripe", "xa_no_spacing"]


def scale_of(written, part):
    return scale_loop(open_loop(written.path), parse_request(part, name="test")).scale


@pytest.mark.parametrize("seed", [1, 2, 3])
@pytest.mark.parametrize("name", WITH_CATHETER)
def test_measured_catheter_scales_within_its_interval_and_one_percent(loop_of, name, seed):
    written = loop_of(name, seed)
    true = written.truth.objects[0]
    part = catheter_part(written.truth, range(9), seed=seed, other_mm=true.inner_mm)
    scale = scale_of(written, part)
    assert scale.interval().holds(true.mm_per_px[0])
    assert scale.row.value == pytest.approx(true.mm_per_px[0], rel=0.01)
    assert scale.u_rel < 0.012


@pytest.mark.parametrize("seed", [1, 2, 3])
@pytest.mark.parametrize("name", WITH_CATHETER)
def test_one_frame_and_unknown_wall_widen_the_interval_but_it_holds(loop_of, name, seed):
    written = loop_of(name, seed)
    true = written.truth.objects[0]
    one = scale_of(written, catheter_part(written.truth, [0], seed=seed))
    known = scale_of(written, catheter_part(written.truth, [0], seed=seed, other_mm=true.inner_mm))
    assert one.interval().holds(true.mm_per_px[0])
    assert known.interval().holds(true.mm_per_px[0])
    assert one.u_rel > known.u_rel
    assert any("other diameter is not given" in text for text in one.warnings)
    assert not any("other diameter is not given" in text for text in known.warnings)


@pytest.mark.parametrize("seed", [1, 2, 3])
def test_sphere_scales_within_its_interval_and_half_a_percent(loop_of, seed):
    written = loop_of("xa_sphere", seed)
    true = next(thing for thing in written.truth.objects if thing.kind == "sphere")
    scale = scale_of(written, sphere_part(written.truth, 4, seed=seed))
    assert scale.interval().holds(true.mm_per_px[0])
    assert scale.row.value == pytest.approx(true.mm_per_px[0], rel=0.005)


def test_depth_between_object_and_anatomy_is_covered_when_it_is_stated(loop_of):
    written = loop_of("xa_caudal")
    true = written.truth
    apart = abs(true.objects[0].depth_h_mm - true.anatomy.depth_h_mm)
    assert apart == pytest.approx(15, abs=0.01)
    inner = true.objects[0].inner_mm
    part = catheter_part(true, range(9), other_mm=inner)
    blind = scale_of(written, part)
    told = scale_of(written, {**part, "depth_offset_mm": 20})
    assert told.interval().holds(true.anatomy.mm_per_px[0])
    # the same object taken to lie at the anatomy's depth reads 15 / 737 = 2 % small
    error = blind.row.value / true.anatomy.mm_per_px[0] - 1
    assert error == pytest.approx(-15 / (true.geometry.sod_mm - true.anatomy.depth_h_mm), abs=0.008)


@pytest.mark.parametrize("name", ["us_000", "us_045", "us_090", "us_135", "us_grey"])
def test_ultrasound_header_gives_the_true_spacing(loop_of, name):
    written = loop_of(name)
    scale = scale_of(written, {"kind": "header"})
    assert (scale.row.value, scale.column.value) == pytest.approx(written.truth.geometry.mm_per_px)


def test_projection_header_gives_the_spacing_at_the_isocentre(loop_of):
    written = loop_of("xa_clean")
    scale = scale_of(written, {"kind": "header", "depth_offset_mm": 30})
    true = written.truth
    at_isocentre = true.geometry.imager_spacing_mm[0] * true.geometry.sod_mm / true.geometry.sid_mm
    assert scale.row.value == pytest.approx(at_isocentre, rel=1e-6)
    assert scale.interval().holds(true.anatomy.mm_per_px[0])


@pytest.mark.parametrize(
    ("name", "centre", "radius"),
    [
        ("xa_clean", (200, 380), 60),
        ("xa_clean", (390, 397), 33),
        ("xa_sphere", (300, 330), 33),
        ("xa_sphere", (390, 397), 10),
    ],
)
def test_a_ball_that_is_not_there_gives_no_millimetre(loop_of, name, centre, radius):
    written = loop_of(name)
    part = {"kind": "sphere", "diameter_mm": 10, "centre_px": centre, "radius_px": radius}
    with pytest.raises(InputError, match="no scale: "):
        scale_of(written, part)


@pytest.mark.parametrize("other_mm", [1.9, 0.4])
@pytest.mark.parametrize("name", ["xa_clean", "xa_caudal"])
def test_a_wall_that_the_picture_denies_is_refused(loop_of, name, other_mm):
    written = loop_of(name)
    with pytest.raises(InputError, match="check both diameters"):
        scale_of(written, catheter_part(written.truth, range(5), other_mm=other_mm))


def test_a_size_that_cannot_be_is_set_against_the_header(loop_of):
    written = loop_of("xa_clean")
    part = catheter_part(written.truth, range(5)) | {"size_mm": 4.0}
    words = "off another of the same loop"
    [warning] = [text for text in scale_of(written, part).warnings if words in text]
    assert "+9" in warning or "+10" in warning
    honest = scale_of(written, catheter_part(written.truth, range(5)))
    assert not any(words in text for text in honest.warnings)
