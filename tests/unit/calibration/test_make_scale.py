"""From a request to a scale, on loops that lie in memory."""

import dataclasses
import math

import pytest

from annot.calibration import (
    GivenRequest,
    HeaderRequest,
    KnownSize,
    NoScale,
    ObjectReading,
    ObjectRequest,
    PixelScale,
    Placing,
    RegionScales,
    make_scale,
)
from annot.calibration.allowances import FILLING_REL
from annot.errors import InputError
from annot.geometry import PixelPoint
from tests.strategies import echo_header, header, region, view
from tests.unit.calibration.conftest import StoredLoop

CATHETER = KnownSize(size_mm=2.0, tolerance_mm=0.03, source="measured", name="catheter")
SPHERE = KnownSize(size_mm=10.0, tolerance_mm=0.02, source="measured", name="sphere")
LENGTH = KnownSize(size_mm=20.0, tolerance_mm=0.2, source="measured", name="length")
ENDS = (PixelPoint(50.0, 40.0), PixelPoint(50.0, 140.0))


class Headed:
    """A loop of which only the header may be used: a frame asked for is a fault."""

    def __init__(self, its_header):
        self.header = its_header

    def frame(self, n):
        raise AssertionError(f"frame {n} was decoded although nothing is fitted")


def segment(*, points=ENDS, frame=0, **changes) -> ObjectRequest:
    reading = ObjectReading(frame=frame, points=points)
    plain = {"kind": "segment", "size": LENGTH, "readings": (reading,)}
    return ObjectRequest(**{**plain, **changes})


def catheter(shaft, *, frames=(0,), **changes) -> ObjectRequest:
    readings = tuple(ObjectReading(frame=n, points=shaft.trace()) for n in frames)
    plain = {"kind": "catheter", "size": CATHETER, "readings": readings, "filling": "empty"}
    return ObjectRequest(**{**plain, **changes})


def made(its_header, request) -> PixelScale:
    scale = make_scale(Headed(its_header), request).scale
    assert isinstance(scale, PixelScale), scale
    return scale


def reason(its_header, request) -> str:
    scale = make_scale(Headed(its_header), request).scale
    assert isinstance(scale, NoScale), scale
    return scale.reason


# ---------------------------------------------------------------- catheter and sphere
def test_a_catheter_gives_its_size_over_its_width_within_the_interval(shaft, shaft_loop):
    answer = make_scale(
        shaft_loop, catheter(shaft, other_mm=1.3, placing=Placing(depth_offset_mm=0.0))
    )
    true = 2.0 / shaft.outer_px
    assert isinstance(answer.scale, PixelScale)
    assert answer.scale.interval().holds(true)
    assert answer.scale.kind == "catheter"
    assert answer.scale.object_id == CATHETER.object_id
    assert answer.scale.row.value == pytest.approx(2.0 / answer.seen.size.value)
    assert set(answer.scale.row.shares()) >= {"object", "scale"}
    assert answer.seen.sections_used >= 8


def test_an_inner_diameter_is_divided_by_the_inner_width(shaft, shaft_loop):
    size = KnownSize(size_mm=1.3, tolerance_mm=0.02, source="measured", name="catheter")
    scale = make_scale(shaft_loop, catheter(shaft, surface="inner", size=size, other_mm=2.0)).scale
    assert isinstance(scale, PixelScale)
    assert scale.interval().holds(2.0 / shaft.outer_px)


def test_a_wall_nobody_states_widens_the_interval_and_says_so(shaft, shaft_loop):
    known = make_scale(shaft_loop, catheter(shaft, other_mm=1.3)).scale
    unknown = make_scale(shaft_loop, catheter(shaft)).scale
    assert unknown.u_rel > known.u_rel
    assert any("other diameter is not given" in one for one in unknown.warnings)
    assert not any("other diameter" in one for one in known.warnings)


def shares(scale: PixelScale) -> dict[str, float]:
    """Standard uncertainty of the row scale by each input, relative, by the key's last word."""
    return {
        line.input.key.rsplit(":", 1)[-1]: abs(line.contribution) / scale.row.value
        for line in scale.row.lines
    }


def test_a_wall_nobody_states_is_a_component_of_its_own(shaft, shaft_loop):
    placing = Placing(depth_offset_mm=0.0)
    known = make_scale(shaft_loop, catheter(shaft, other_mm=1.3, placing=placing)).scale
    unknown = make_scale(shaft_loop, catheter(shaft, placing=placing)).scale
    assert "wall" not in shares(known)
    parts = shares(unknown)
    assert parts["wall"] > 2 * parts["seen"]
    assert math.hypot(*parts.values()) == pytest.approx(unknown.u_rel)


def test_filling_and_material_are_a_component_that_a_person_widens(shaft, shaft_loop):
    usual = make_scale(shaft_loop, catheter(shaft, other_mm=1.3)).scale
    wide = make_scale(shaft_loop, catheter(shaft, other_mm=1.3, filling_rel=0.05)).scale
    # half-width over √3: the rectangle of JCGM 100:2008 4.3.7
    assert shares(usual)["filling"] == pytest.approx(FILLING_REL.value / math.sqrt(3))
    assert shares(wide)["filling"] == pytest.approx(0.05 / math.sqrt(3))
    assert wide.row.value == usual.row.value  # nothing is corrected
    assert any("±1 % is in the interval" in one for one in usual.warnings)
    assert any("±5 % is in the interval (as stated)" in one for one in wide.warnings)


def test_two_diameters_that_the_picture_contradicts_are_refused(shaft):
    wide = dataclasses.replace(shaft, outer_px=20.0, wall=1.2, lumen_ratio=0.6)
    loop = StoredLoop(header=header(rows=200, columns=200), pixels={0: wide.picture(seed=3)})
    right = make_scale(loop, catheter(wide, other_mm=1.2)).scale
    assert isinstance(right, PixelScale)
    wrong = make_scale(loop, catheter(wide, other_mm=1.75)).scale
    assert isinstance(wrong, NoScale)
    assert "check both diameters" in wrong.reason


def test_an_interval_is_as_short_as_its_shapes_allow(shaft, shaft_loop):
    """A flat component that outweighs the rest: 95 % of a rectangle lie within 0.95 half-widths."""
    request = catheter(shaft, other_mm=1.3, filling_rel=0.4, placing=Placing(depth_offset_mm=0.0))
    scale = make_scale(shaft_loop, request).scale
    half = scale.interval().half_width / scale.row.value
    first_order = 1.96 * scale.u_rel
    assert half < 0.98 * first_order


def test_what_was_fitted_can_be_drawn_over_the_frame(shaft, shaft_loop):
    seen = make_scale(shaft_loop, catheter(shaft, other_mm=1.3)).seen
    assert len(seen.outline) == 2
    widths = [math.dist(a, b) for a, b in zip(*seen.outline, strict=True)]
    assert widths == pytest.approx([shaft.outer_px] * len(widths), abs=0.6)


def test_the_outline_is_that_of_the_first_frame_alone(shaft):
    """In the second frame the shaft lies elsewhere; what is drawn must not jump there."""
    moved = dataclasses.replace(shaft, centre=(130.3, 99.6))
    loop = StoredLoop(
        header=header(rows=200, columns=200, frames=2),
        pixels={0: shaft.picture(seed=1), 1: moved.picture(seed=2)},
    )
    readings = tuple(
        ObjectReading(frame=n, points=one.trace()) for n, one in enumerate((shaft, moved))
    )
    seen = make_scale(loop, catheter(shaft, other_mm=1.3, readings=readings)).seen
    angle = math.radians(shaft.angle_deg)
    for edge in seen.outline:
        across = [
            (row - shaft.centre[0]) * math.cos(angle) - (column - shaft.centre[1]) * math.sin(angle)
            for row, column in edge
        ]
        assert [abs(one) for one in across] == pytest.approx([6.55] * len(across), abs=0.7)


def test_a_tilt_stated_for_a_width_has_no_effect_and_that_is_said(shaft, shaft_loop):
    tilted = make_scale(shaft_loop, catheter(shaft, placing=Placing(tilt_deg=20.0))).scale
    assert any("tilt has no effect on the width of a catheter" in one for one in tilted.warnings)


def test_a_sphere_gives_its_size_over_its_width_within_the_interval(ball, ball_loop):
    reading = ObjectReading(frame=0, points=(ball.guess,), radius_px=13.0)
    request = ObjectRequest(
        kind="sphere", size=SPHERE, readings=(reading,), placing=Placing(depth_offset_mm=0.0)
    )
    answer = make_scale(ball_loop, request)
    assert isinstance(answer.scale, PixelScale)
    assert answer.scale.interval().holds(10.0 / ball.diameter_px)
    (circle,) = answer.seen.outline
    assert circle[0] == pytest.approx(circle[-1])
    assert {round(math.dist(one, ball.centre)) for one in circle} == {round(ball.diameter_px / 2)}


def test_a_ball_in_two_frames_is_averaged(ball, ball_loop):
    def at(*frames):
        readings = tuple(
            ObjectReading(frame=n, points=(ball.guess,), radius_px=13.0) for n in frames
        )
        return make_scale(ball_loop, ObjectRequest(kind="sphere", size=SPHERE, readings=readings))

    one, other, both = at(0).seen.size, at(1).seen.size, at(0, 1).seen.size
    assert both.value == pytest.approx((one.value + other.value) / 2)
    assert both.u < max(one.u, other.u)


def test_pixels_that_are_not_square_are_not_fitted(shaft, shaft_loop):
    oblong = dataclasses.replace(
        shaft_loop,
        header=dataclasses.replace(
            shaft_loop.header, xray=view(imager_pixel_spacing_mm=(0.2, 0.22))
        ),
    )
    scale = make_scale(oblong, catheter(shaft)).scale
    assert isinstance(scale, NoScale)
    assert "pixels are 1.1 times as wide as high" in scale.reason


@pytest.mark.parametrize("kind", ["catheter", "sphere"])
def test_a_shadow_is_not_fitted_to_echoes(kind):
    request = ObjectRequest(
        kind=kind, size=CATHETER, readings=(ObjectReading(frame=0, points=ENDS),)
    )
    assert f"a {kind}'s shadow is fitted on X-ray pictures only" in reason(
        echo_header(region()), request
    )


@pytest.mark.parametrize(
    ("relation", "words"),
    [
        ("LOG", "are logarithms of intensity without the table"),
        ("DISP", "are DISP of the beam's intensity"),
        (None, "have no stated relation to the beam's intensity"),
    ],
)
def test_pixels_not_known_to_be_proportional_to_the_beam_are_said(
    relation, words, shaft, shaft_loop
):
    loop = dataclasses.replace(
        shaft_loop,
        header=dataclasses.replace(shaft_loop.header, xray=view(intensity_relationship=relation)),
    )
    scale = make_scale(loop, catheter(shaft)).scale
    assert any(f"stored values {words}" in one for one in scale.warnings)
    assert any(line.input.key.endswith(":relation") for line in scale.row.lines)


def test_a_file_whose_values_fall_with_the_intensity_gives_the_same_scale(shaft, shaft_loop):
    top = 2**shaft_loop.header.bits_stored - 1
    turned = dataclasses.replace(
        shaft_loop,
        header=dataclasses.replace(shaft_loop.header, xray=view(intensity_sign=-1)),
        pixels={n: (top - one).astype(one.dtype) for n, one in shaft_loop.pixels.items()},
    )
    known = catheter(shaft, other_mm=1.3)
    plain, other = (make_scale(one, known).scale for one in (shaft_loop, turned))
    assert isinstance(other, PixelScale), other
    assert other.row.value == pytest.approx(plain.row.value, rel=1e-9)


# ---------------------------------------------------------------- a known length
def test_a_segment_is_its_length_over_its_pixels_with_both_ends_off():
    """By hand: 20 mm on 100 px; ends 1 px each, ±0.2 mm, no depth."""
    scale = made(header(), segment(placing=Placing(depth_offset_mm=0.0, tilt_deg=0.0)))
    assert scale.row.value == pytest.approx(0.2)
    expected = math.hypot(math.sqrt(2) / 100, 0.2 / math.sqrt(3) / 20)
    assert scale.u_rel == pytest.approx(expected, rel=1e-6)


def test_repeats_of_a_segment_shrink_its_ends():
    placing = Placing(depth_offset_mm=0.0, tilt_deg=0.0)
    four = tuple(
        ObjectReading(frame=0, points=(PixelPoint(row, 40.0), PixelPoint(row, 140.0)))
        for row in (50.0, 51.0, 52.0, 53.0)
    )
    shares = [
        made(header(), segment(readings=readings, placing=placing)).row.shares()["scale"]
        for readings in (four[:1], four)
    ]
    assert shares[1] < shares[0]


def test_a_segment_counts_wide_pixels_as_wide():
    oblong = header(xray=view(imager_pixel_spacing_mm=(0.2, 0.25)))
    across = made(oblong, segment())
    down = made(oblong, segment(points=(PixelPoint(50, 40), PixelPoint(150, 40))))
    assert across.column.value == pytest.approx(0.2)
    assert across.row.value == pytest.approx(0.16)
    assert down.row.value == pytest.approx(0.2)
    assert down.column.value == pytest.approx(0.25)


def test_a_tilted_known_length_looks_short_so_its_scale_comes_out_smaller():
    """Sign table: true scale = scale · cos; a rectangular ±20° has mean cos 0.97982 (own run)."""
    plain = made(header(), segment(placing=Placing(tilt_deg=0.0)))
    tilted = made(header(), segment(placing=Placing(tilt_deg=20.0)))
    assert tilted.row.value / plain.row.value == pytest.approx(
        math.sin(math.radians(20)) / math.radians(20), rel=1e-9
    )
    assert "tilt" in tilted.row.shares()
    assert tilted.u_rel > plain.u_rel


def test_a_known_length_whose_tilt_nobody_states_says_which_way_it_errs():
    unstated = made(header(), segment())
    assert any("tilt of the known length not stated" in one for one in unstated.warnings)
    stated = made(header(), segment(placing=Placing(tilt_deg=0.0)))
    assert not any("tilt" in one for one in stated.warnings)
    assert not any("intensity" in one for one in (*unstated.warnings, *stated.warnings))


def test_a_short_segment_is_refused():
    short = segment(points=(PixelPoint(50, 40), PixelPoint(50, 44)))
    assert "drawn 4.0 px long; at least 5 px" in reason(header(), short)


# ---------------------------------------------------------------- in ultrasound
INSIDE = (PixelPoint(100.0, 150.0), PixelPoint(100.0, 350.0))


def test_a_segment_on_echo_has_no_depth_and_takes_the_shape_of_its_regions_pixels():
    scale = made(echo_header(region()), segment(points=INSIDE))
    assert scale.depth_group is None
    assert scale.column.value / scale.row.value == pytest.approx(0.5 / 0.4)
    assert scale.column.value == pytest.approx(20 / 200)


def test_a_segment_on_echo_holds_in_its_own_region_only():
    strip = region(min_y0=420, max_y1=470, spatial_format=4, units_x=4, units_y=0)
    scale = made(echo_header(region(), strip), segment(points=INSIDE))
    assert isinstance(scale.at(INSIDE), PixelScale)
    assert isinstance(scale.at((PixelPoint(430.0, 150.0), PixelPoint(460.0, 300.0))), NoScale)


def test_a_segment_outside_every_region_says_what_is_assumed():
    scale = made(echo_header(), segment(points=INSIDE))
    assert any("square pixels and one scale for the whole picture" in one for one in scale.warnings)


@pytest.mark.parametrize(
    "request_", [segment(points=INSIDE), GivenRequest(mm_per_px=(0.4, 0.5), u_rel=0.01)]
)
def test_a_scale_that_the_file_protects_is_replaced_only_with_a_reason(request_):
    """PS3.3 C.8.5.5, Region Flags bit 1: the scaling is not to be overridden."""
    protected = echo_header(region(flags=2))
    assert "the file protects its ultrasound scale" in reason(protected, request_)
    overruled = dataclasses.replace(request_, placing=Placing(overrule="wrong by the phantom"))
    assert made(protected, overruled).overruled == "wrong by the phantom"
    assert isinstance(make_scale(Headed(protected), HeaderRequest()).scale, RegionScales)


# ---------------------------------------------------------------- given, header, refusals
def test_a_given_number_is_used_as_given_and_says_that_nothing_bears_it_out():
    scale = made(header(), GivenRequest(mm_per_px=(0.2, 0.25), u_rel=0.03))
    assert (scale.row.value, scale.column.value) == pytest.approx((0.2, 0.25))
    assert scale.u_rel == pytest.approx(0.03)
    assert "nothing in this loop bears it out" in scale.warnings[0]


def test_the_header_goes_through_the_same_door():
    assert made(header(), HeaderRequest()).kind == "header"


@pytest.mark.parametrize("frame", [20, 99, -1])
def test_a_frame_the_loop_does_not_have_is_refused(frame):
    with pytest.raises(InputError, match=rf"xa.dcm: .* frame {frame}, but the loop has frames 0"):
        make_scale(Headed(header()), segment(frame=frame))


@pytest.mark.parametrize("point", [PixelPoint(600.0, 40.0), PixelPoint(float("nan"), 40.0)])
def test_a_place_the_image_does_not_have_is_refused(point):
    with pytest.raises(InputError, match=r"xa.dcm, frame 0: .* outside the image of 512 rows"):
        make_scale(Headed(header()), segment(points=(ENDS[0], point)))


def test_keys_tell_requests_apart_and_repeat_exactly():
    one, again = (made(header(), segment()).key for _ in range(2))
    other = made(header(), segment(points=(ENDS[0], PixelPoint(50.0, 141.0)))).key
    assert one == again != other


@pytest.mark.parametrize("u_rel", [0.0, -0.1, 5.0, math.nan, math.inf])
def test_a_relative_uncertainty_that_is_no_fraction_is_refused(u_rel):
    for ask in (
        lambda: GivenRequest(mm_per_px=(0.2, 0.2), u_rel=u_rel),
        lambda: HeaderRequest(u_rel=u_rel),
    ):
        with pytest.raises(InputError, match=r"as a fraction above 0 and up to 0.5"):
            ask()
