"""The sign of a tilt against rendered truth: which way each length is seen, cell by cell."""

import math

import pytest

from annot.geometry import PixelPoint
from annot.loops import open_loop
from annot.measurement import Caliper, measure_caliper
from annot.reads import parse_request
from annot.tasks.calibrate import scale_loop
from annot.vocabulary import MEASURANDS, FrameReference


def seen_and_true(written, quantity, scale, modality, tilt_deg):
    true = written.truth.caliper(quantity, 2)
    caliper = Caliper(
        key=quantity,
        measurand=MEASURANDS[quantity],
        frame=FrameReference(sop_instance_uid="1.2", frame=2),
        points=tuple(PixelPoint(*point) for point in true.points_px),
        tilt_deg=tilt_deg,
    )
    return measure_caliper(caliper, scale, modality=modality), true


def true_scale(written):
    """The generator's own scale at the anatomy, as a number given from elsewhere."""
    size = list(written.truth.anatomy.mm_per_px)
    part = {"kind": "given", "mm_per_px": size, "u_rel": 1e-6, "overrule": "the generator's own"}
    request = parse_request(part, name="test")
    return scale_loop(open_loop(written.path), request).scale


@pytest.mark.parametrize("name", ["xa_clean", "xa_caudal"])
def test_projected_depth_is_seen_short_by_the_cosine(loop_of, name):
    written = loop_of(name)
    result, true = seen_and_true(written, "depth", true_scale(written), "XA", 0)
    cosine = math.cos(math.radians(true.foreshortening_deg))
    # the rendered projection is central, not parallel: some tenths of a percent remain
    assert result.result.value / true.value_mm == pytest.approx(cosine, abs=0.012)
    assert result.result.value < true.value_mm


@pytest.mark.parametrize("name", ["xa_clean", "xa_caudal"])
def test_silhouette_width_is_not_changed_by_tilt_along_the_neck(loop_of, name):
    written = loop_of(name)
    result, true = seen_and_true(written, "ostium_width", true_scale(written), "XA", 0)
    assert true.foreshortening_deg > 1
    assert result.result.value == pytest.approx(true.value_mm, rel=1e-3)


@pytest.mark.parametrize("name", ["us_000", "us_045", "us_090", "us_135"])
def test_echo_depth_off_the_plane_is_seen_short_by_the_cosine(loop_of, name):
    written = loop_of(name)
    result, true = seen_and_true(written, "depth", true_scale(written), "US", 0)
    cosine = math.cos(math.radians(true.foreshortening_deg))
    assert result.result.value / true.value_mm == pytest.approx(cosine, abs=2e-3)


@pytest.mark.parametrize(
    ("quantity", "modality", "way"),
    [("depth", "XA", 1), ("depth", "US", 1), ("ostium_width", "US", -1), ("ostium_width", "XA", 0)],
)
def test_a_stated_tilt_moves_the_value_the_right_way(loop_of, quantity, modality, way):
    written = loop_of("xa_clean" if modality == "XA" else "us_000")
    scale = true_scale(written)
    flat, _ = seen_and_true(written, quantity, scale, modality, 0)
    tilted, _ = seen_and_true(written, quantity, scale, modality, 20)
    change = tilted.result.value - flat.result.value
    assert math.copysign(1, change) * (abs(change) > 1e-9) == way
    assert (tilted.result.u > flat.result.u) == (way != 0)
    assert tilted.raw_value == pytest.approx(flat.raw_value)
