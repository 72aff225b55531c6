import pytest

from annot.errors import InputError
from annot.geometry import PixelPoint
from napari_annot.scale_entry import ScaleEntry, entry_of, request_of
from napari_annot.tools import Trace, trace_of

TRACES = {
    kind: Trace(kind=kind).with_look(3, (PixelPoint(10, 20), PixelPoint(10, 60)))
    for kind in ("catheter", "sphere", "segment", "markers", "step")
}
CORNERS = tuple(PixelPoint(*one) for one in ((10, 20), (10, 60), (50, 60), (50, 20)))
TRACES["grid"] = Trace(kind="grid").with_look(3, CORNERS)
ENTRIES = [
    ScaleEntry(size=6.0, french=True),
    ScaleEntry(size=2.0, tolerance_mm=0.03, other_mm=1.4, filling="contrast", depth_offset_mm=0.0),
    ScaleEntry(size=2.0, filling="contrast", filling_percent=5.0),
    ScaleEntry(size=1.4, tolerance_mm=0.02, surface="inner"),
    ScaleEntry(kind="sphere", size=10.0, tolerance_mm=0.05, depth_offset_mm=15.0),
    ScaleEntry(kind="segment", size=20.0, tolerance_mm=0.2, u_end_px=0.7, tilt_deg=10.0),
    ScaleEntry(size=4.7, tolerance_mm=0.05, device="sheath"),
    ScaleEntry(kind="markers", size=10.0, count=5, tilt_deg=10.0, named="wire 2"),
    ScaleEntry(kind="markers", size=10.0, tolerance_mm=0.05, material="platinum"),
    ScaleEntry(size=2.0, tolerance_mm=0.03, material="nylon, braided"),
    ScaleEntry(kind="grid", size=10.0, tilt_deg=0.0, named="plate"),
    ScaleEntry(kind="step", size=5.0, count=12),
    ScaleEntry(kind="header", u_percent=3.0, depth_offset_mm=5.0),
    ScaleEntry(kind="header"),
    ScaleEntry(size=2.0, tolerance_mm=0.03, depth_by="range", depth_low_mm=-10, depth_high_mm=40),
    ScaleEntry(kind="segment", size=20.0, depth_by="other-chamber", overrule="checked by hand"),
    ScaleEntry(kind="borrowed", lender="/a/b.dcm", depth_by="skin-detector-side"),
    ScaleEntry(kind="given", mm_per_px=0.21, u_percent=2.0, overrule="checked by hand"),
    ScaleEntry(kind="given", mm_per_px=0.21, u_percent=2.0),
    ScaleEntry(kind="borrowed", lender="/a/b.dcm", overrule="same stand"),
]


@pytest.mark.parametrize("entry", ENTRIES, ids=lambda one: f"{one.kind}-{one.size}")
def test_an_entry_survives_the_way_to_a_request_and_back(entry):
    assert entry_of(request_of(entry, TRACES.get(entry.kind))) == entry


@pytest.mark.parametrize("kind", sorted(TRACES))
def test_a_trace_survives_the_way_to_a_request_and_back(kind):
    request = request_of(ScaleEntry(kind=kind, size=5.0), TRACES[kind])
    assert trace_of(request) == TRACES[kind]


@pytest.mark.parametrize(
    ("entry", "trace", "words"),
    [
        (ScaleEntry(), TRACES["catheter"], "State the catheter's size"),
        (ScaleEntry(kind="markers"), TRACES["markers"], "State the spacing of the marker bands"),
        (ScaleEntry(size=12.0, french=True, device="sheath"), TRACES["catheter"], "its inside"),
        (ScaleEntry(size=2.0), None, "Trace the catheter"),
        (ScaleEntry(size=2.0), TRACES["sphere"], "Trace the catheter"),
        (ScaleEntry(kind="given", mm_per_px=0.2), None, "relative standard uncertainty"),
        (ScaleEntry(kind="borrowed"), None, "Choose the loop"),
        (ScaleEntry(size=6.0, french=True, surface="inner"), TRACES["catheter"], "inner diameter"),
    ],
)
def test_what_is_missing_is_said_in_one_sentence(entry, trace, words):
    with pytest.raises(InputError, match=words):
        request_of(entry, trace)


def test_looks_on_several_frames_are_averaged_readings():
    trace = TRACES["catheter"].with_look(5, (PixelPoint(11, 20), PixelPoint(11, 60)))
    request = request_of(ScaleEntry(size=2.0), trace)
    assert [one.frame for one in request.readings] == [3, 5]


def test_half_a_range_of_depth_is_refused_with_what_is_missing():
    half = ScaleEntry(size=2.0, depth_by="range", depth_low_mm=-10)
    with pytest.raises(InputError, match="both ends of the range"):
        request_of(half, TRACES["catheter"])
