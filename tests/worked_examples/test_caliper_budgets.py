"""Worked budgets of a caliper under a scale, with figures found outside this code."""

import math

import pytest

from annot.calibration import GeometryKey, PixelScale
from annot.calibration.scale import scale_from_reference_object
from annot.geometry import PixelPoint
from annot.measurement import measure_caliper
from annot.uncertainty import InputQuantity, covariance, propagate, rectangular, stated
from annot.vocabulary import MEASURANDS
from tests.strategies import caliper

GEOMETRY = GeometryKey(modality="XA", rows=512, columns=512)


def scale_of(row, key: str) -> PixelScale:
    return PixelScale(key=key, kind="catheter", row=row, column=row, basis="", geometry=GEOMETRY)


def test_ten_millimetres_seen_as_forty_pixels():
    """Made-up figures from a trial of the types: 25.0 mm, u 0.508, 24.00 to 26.00 (run)."""
    row = scale_from_reference_object(
        key="ten",
        known_size=stated(10.0, 0.02, key="size", unit="mm", source="", component="object"),
        seen_size=InputQuantity(
            key="seen", value=40.0, u=0.3, unit="px", dof=9, evaluation="A", distribution="t"
        ),
        depth_ratio=stated(1.0, 0.015, key="depth", unit="1", source="", component="depth"),
    )
    measured = measure_caliper(
        caliper(u_end_px=0.8, origin="refined", points=(PixelPoint(0, 0), PixelPoint(0, 100))),
        scale_of(row, "ten"),
        modality="XA",
    )
    assert measured.result.value == pytest.approx(25.0, rel=1e-12)
    assert measured.result.u == pytest.approx(0.508, abs=5e-4)
    assert measured.interval.low == pytest.approx(24.00, abs=5e-3)
    assert measured.interval.high == pytest.approx(26.00, abs=5e-3)
    # by hand: 25·√(0.002² + 0.0075² + 0.015²) and 0.25·0.8·√2
    by_hand = math.hypot(25 * math.hypot(0.002, 0.0075, 0.015), 0.25 * 0.8 * math.sqrt(2))
    assert measured.result.u == pytest.approx(by_hand, rel=1e-8)


# A budget of a 24 mm length at 0.2 mm per pixel: reference edges u 0.3 px each, anatomy's ends
# 1 px each, depths apart by up to ±2 cm at 750 mm. Columns in percent: size, edges, depth,
# ends, combined; then U (k = 2) in mm. Arithmetic recomputed elsewhere, three digits.
BUDGETS = {
    "catheter of 2.0 mm": (2.0, 0.0289, 1.445, 4.243, 4.883, 2.34),
    "catheter of 2.667 mm": (8 / 3, 0.0289, 1.083, 3.182, 3.881, 1.86),
    "sheath of 4.0 mm outside": (4.0, 0.0289, 0.722, 2.121, 2.963, 1.42),
    "sphere of 10 mm": (10.0, 0.01, 0.100, 0.849, 2.119, 1.02),
    "bands 20 mm apart": (20.0, 0.05, 0.250, 0.424, 2.000, 0.96),
}


@pytest.mark.parametrize("name", BUDGETS)
def test_budget_of_a_width_of_24_mm(name):
    size_mm, u_size, percent_size, percent_edges, percent_all, expanded = BUDGETS[name]
    row = scale_from_reference_object(
        key=name,
        known_size=stated(size_mm, u_size, key="size", unit="mm", source="", component="object"),
        seen_size=stated(
            size_mm / 0.2, 0.3 * math.sqrt(2), key="seen", unit="px", source="", component="scale"
        ),
        depth_ratio=rectangular(1.0, 20 / 750, key="depth", unit="1", source="", component="depth"),
    )
    measured = measure_caliper(
        caliper(u_end_px=1.0, origin="refined", points=(PixelPoint(50, 50), PixelPoint(170, 50))),
        scale_of(row, name),
        modality="XA",
    )
    result = measured.result
    assert result.value == pytest.approx(24.0)
    percent = {
        part: 100 * math.sqrt(share) * result.u / 24.0 for part, share in result.shares().items()
    }
    assert percent["object"] == pytest.approx(percent_size, abs=1.1e-3)
    assert percent["scale"] == pytest.approx(percent_edges, abs=1e-3)
    assert percent["depth"] == pytest.approx(1.540, abs=1e-3)
    assert percent["ends"] == pytest.approx(1.179, abs=1e-3)
    assert 100 * result.u / 24.0 == pytest.approx(percent_all, abs=1.5e-3)
    assert 2 * result.u == pytest.approx(expanded, abs=5e-3)


# Two calipers under one calibration; six libraries agreed on these figures to 1e-12 (run).
ENDS = (
    (163.69616873214542, 101.30076733748852, 396.59215993285943, 274.6640940507126),
    (126.97867137638703, 182.77629198311453, 259.00618863435596, 369.245558297352),
)


def test_two_calipers_of_one_calibration():
    row = scale_from_reference_object(
        key="shared",
        known_size=stated(2.0, 0.02, key="size", unit="mm", source="", component="object"),
        seen_size=stated(12.4, 0.25, key="seen", unit="px", source="", component="scale"),
        depth_ratio=stated(1.0, 1e-12, key="depth", unit="1", source="", component="depth"),
    )
    first, second = (
        measure_caliper(
            caliper(
                key=f"c{n}",
                measurand=MEASURANDS["distance"],
                u_end_px=0.3,
                origin="refined",
                points=(PixelPoint(ends[0], ends[1]), PixelPoint(ends[2], ends[3])),
            ),
            scale_of(row, "shared"),
            modality="XA",
        ).result
        for n, ends in enumerate(ENDS)
    )
    assert first.value == pytest.approx(46.82849622228055, rel=1e-12)
    assert first.u == pytest.approx(1.0560972933258155, rel=1e-9)
    correlation = covariance(first, second) / (first.u * second.u)
    assert correlation == pytest.approx(0.9945189644303865, rel=1e-9)


def test_a_difference_of_two_close_widths_loses_the_scale_and_keeps_the_ends():
    row = propagate(
        lambda size: size,
        [stated(0.2, 0.01, key="s", unit="mm/px", source="", component="scale")],
        unit="mm/px",
    )
    first, second = (
        measure_caliper(
            caliper(
                key=key,
                u_end_px=0.5,
                origin="refined",
                points=(PixelPoint(0, 0), PixelPoint(0, length)),
            ),
            scale_of(row, "s"),
            modality="XA",
        ).result
        for key, length in (("a", 100.0), ("b", 101.0))
    )
    difference = propagate(lambda x, y: y - x, [first, second], unit="mm")
    assert first.u > 1.0
    # by hand: scale 0.2 mm·5 % = 0.01 mm, four ends 0.2·0.5·√4 = 0.2 mm
    assert difference.u == pytest.approx(math.hypot(0.01, 0.2), rel=1e-6)
