"""Units and points gone astray: a sentence, never a refusal."""

import pytest

from annot.calibration import GivenRequest, HeaderRequest, KnownSize, PixelScale, make_scale
from annot.calibration.allowances import LARGEST_SPACING_MM, LEAST_SPACING_MM
from annot.calibration.plausible import shaft_doubts, spacing_doubts
from annot.geometry import PixelPoint
from tests.strategies import echo_header, header, region, view
from tests.unit.calibration.test_make_scale import Headed, catheter


def doubts(scale) -> list[str]:
    assert isinstance(scale, PixelScale), scale
    return [one for one in scale.warnings if "unusual" in one]


def xray(spacing_mm: float):
    return Headed(header(xray=view(imager_pixel_spacing_mm=(spacing_mm, spacing_mm))))


@pytest.mark.parametrize("off", [10.0, 0.1])
def test_a_detectors_spacing_in_another_unit_is_said(off):
    # 0.2 mm: usual for a flat detector, common practice, no source
    assert not doubts(make_scale(xray(0.2), HeaderRequest()).scale)
    [words] = doubts(make_scale(xray(0.2 * off), HeaderRequest()).scale)
    assert "centimetres for millimetres" in words


def test_a_regions_spacing_in_another_unit_is_said():
    middle = [PixelPoint(100.0, 100.0)]

    def scale(cm_per_px: float):
        its = region(delta_x=cm_per_px, delta_y=cm_per_px)
        return make_scale(Headed(echo_header(regions=(its,))), HeaderRequest()).scale.at(middle)

    # PS3.3 C.8.5.5: deltas are in the units of the region, of which code 3 is centimetres
    assert not doubts(scale(0.03))
    # 0.3 mm per pixel written down as if the unit were millimetres
    assert len(doubts(scale(0.3))) == 1


def test_a_given_number_in_another_unit_is_said():
    assert len(doubts(make_scale(xray(0.2), GivenRequest(mm_per_px=(2.0, 2.0), u_rel=0.02)).scale))
    assert not doubts(make_scale(xray(0.2), GivenRequest(mm_per_px=(0.2, 0.2), u_rel=0.02)).scale)


@pytest.mark.parametrize(("size_mm", "word"), [(20.0, "wide"), (0.2, "thin")])
def test_a_catheter_with_its_point_displaced_is_said_and_used(size_mm, word, shaft, shaft_loop):
    size = KnownSize(size_mm=size_mm, tolerance_mm=0.03, source="measured", name="catheter")
    scale = make_scale(shaft_loop, catheter(shaft, size=size)).scale
    assert any(f"unusually {word}" in one for one in doubts(scale))
    assert scale.row.value == pytest.approx(size_mm / shaft.outer_px, rel=0.1)
    assert not doubts(make_scale(shaft_loop, catheter(shaft)).scale)


def test_the_usual_begins_and_ends_where_the_allowances_say():
    for edge in (LEAST_SPACING_MM.value, LARGEST_SPACING_MM.value):
        assert not spacing_doubts(edge)
    assert spacing_doubts(1.001)
    assert spacing_doubts(0.039)
    assert not shaft_doubts(8 / 3, device="catheter")
    [words] = shaft_doubts(16.0, device="sheath")
    assert "a sheath of 16 mm (48 French)" in words
