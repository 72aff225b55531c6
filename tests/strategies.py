"""Shared Hypothesis strategies, example headers and scales, and one deterministic profile.

Import this module before `given` is used: it loads the profile, so that the same examples are
drawn on every machine and a slow machine fails nothing.
"""

import itertools
import math
from dataclasses import replace
from pathlib import Path
from typing import Any

from hypothesis import settings
from hypothesis import strategies as st

from annot.calibration import (
    BorrowedRequest,
    GeometryKey,
    GivenRequest,
    HeaderRequest,
    KnownSize,
    ObjectReading,
    ObjectRequest,
    PixelScale,
    Placing,
    ScaleRequest,
    french_to_mm,
)
from annot.calibration.scale import pair_of_scales, scale_from_reference_object
from annot.geometry import PixelPoint
from annot.loops import LoopHeader, UltrasoundRegion, XrayView
from annot.loops.timing import FrameTimes
from annot.measurement import Caliper
from annot.reads import Conditions, LoopRead, Read, ViewOverride
from annot.reads.read import Implant
from annot.uncertainty import InputQuantity, propagate, rectangular, stated
from annot.vocabulary import MEASURANDS, FrameReference, Measurand

settings.register_profile("deterministic", derandomize=True, deadline=None, max_examples=50)
settings.load_profile("deterministic")

SOP_UID = "1.2.826.0.1.3680043.10.511.7"
SQUARE = GeometryKey(modality="XA", rows=512, columns=512)

# ---------------------------------------------------------------- numbers, points, calipers
NOT_NUMBERS = (math.nan, math.inf, -math.inf)
not_finite = st.sampled_from(NOT_NUMBERS)
names = st.text("abcdefghijklmnopqrstuvwxyz0123456789-", min_size=1, max_size=12)
positives = st.floats(0.01, 1000.0)
uncertainties_of_input = st.floats(1e-4, 10.0)
components = st.sampled_from(["scale", "object", "ends", "depth", "tilt", "speed-of-sound"])
coordinates = st.floats(0.0, 511.0)
points = st.builds(PixelPoint, coordinates, coordinates)


@st.composite
def inputs(draw: st.DrawFn, *, key: str | None = None) -> InputQuantity:
    """Draw a root input with an uncertainty."""
    return InputQuantity(
        key=key or draw(names),
        value=draw(st.floats(0.5, 100.0)),
        u=draw(uncertainties_of_input),
        unit="mm",
        dof=draw(st.one_of(st.just(math.inf), st.floats(1.0, 200.0))),
        component=draw(components),
    )


def apart(pair: tuple[PixelPoint, ...], least_px: float = 2.0) -> bool:
    """Whether all neighbours of a path are at least that far apart."""
    return all(math.dist(first, second) >= least_px for first, second in itertools.pairwise(pair))


def paths(
    *, longest: int = 2, least_px: float = 2.0, fewest: int = 2
) -> st.SearchStrategy[tuple[PixelPoint, ...]]:
    """Draw paths of `fewest` to `longest` points, no two neighbours together."""
    return (
        st.lists(points, min_size=fewest, max_size=longest)
        .map(tuple)
        .filter(lambda path: apart(path, least_px))
    )


@st.composite
def contours(draw: st.DrawFn, *, most: int = 16) -> tuple[PixelPoint, ...]:
    """Draw closed contours of 8 or more points seen in order from inside, so that none crosses."""
    count = draw(st.integers(8, most))
    radii = draw(st.lists(st.floats(30.0, 60.0), min_size=count, max_size=count))
    start = draw(st.floats(0.0, math.tau))
    turns = [start + math.tau * n / count for n in range(count)]
    return tuple(
        PixelPoint(200.0 + r * math.sin(turn), 150.0 + r * math.cos(turn))
        for r, turn in zip(radii, turns, strict=True)
    )


def drawings(measurand: Measurand) -> st.SearchStrategy[tuple[PixelPoint, ...]]:
    """Draw points that a measurand can be drawn with."""
    if measurand.kind == "contour":
        return contours()
    return paths(longest=min(measurand.max_points, 6), fewest=measurand.min_points)


def caliper(**changes: Any) -> Caliper:
    """Make a landing zone caliper of 100 px; change what a test is about."""
    plain = Caliper(
        key="lz1",
        measurand=MEASURANDS["landing_zone_width"],
        frame=FrameReference(sop_instance_uid=SOP_UID, frame=3),
        points=(PixelPoint(200.0, 150.0), PixelPoint(260.0, 230.0)),
    )
    return replace(plain, **changes)


# ---------------------------------------------------------------- headers and scales
def header(**changes: Any) -> LoopHeader:
    """Make the header of an angiography loop of 20 frames; change what a test is about."""
    plain = LoopHeader(
        path=Path("xa.dcm"),
        sop_instance_uid=SOP_UID,
        sop_class_uid="1.2.840.10008.5.1.4.1.1.12.1",
        study_instance_uid=f"{SOP_UID}.1",
        series_instance_uid=f"{SOP_UID}.2",
        modality="XA",
        transfer_syntax_uid="1.2.840.10008.1.2.1",
        transfer_syntax_name="Explicit VR Little Endian",
        rows=512,
        columns=512,
        frames=20,
        samples_per_pixel=1,
        bits_allocated=16,
        bits_stored=12,
        pixel_representation=0,
        photometric="MONOCHROME2",
        frame_times=FrameTimes(times_ms=tuple(66.7 * n for n in range(20)), source="FrameTime"),
        xray=view(),
    )
    return replace(plain, **changes)


def view(**changes: Any) -> XrayView:
    """Make a view with distances and a detector spacing of 0.2 mm."""
    plain = XrayView(
        imager_pixel_spacing_mm=(0.2, 0.2),
        source_to_detector_mm=1000.0,
        source_to_patient_mm=750.0,
        primary_deg=-30.0,
        secondary_deg=-20.0,
        positioner_motion="STATIC",
        intensity_relationship="LIN",
    )
    return replace(plain, **changes)


def region(**changes: Any) -> UltrasoundRegion:
    """Make a 2-D tissue region in centimetres, 0.4 mm down and 0.5 mm across a pixel."""
    plain = UltrasoundRegion(
        min_x0=100,
        min_y0=50,
        max_x1=500,
        max_y1=400,
        spatial_format=1,
        data_type=1,
        flags=0,
        units_x=3,
        units_y=3,
        delta_x=0.05,
        delta_y=0.04,
    )
    return replace(plain, **changes)


def echo_header(*regions: UltrasoundRegion, **changes: Any) -> LoopHeader:
    """Make the header of an echo loop of 480 rows and 640 columns."""
    return header(
        **{
            "path": Path("us.dcm"),
            "modality": "US",
            "sop_class_uid": "1.2.840.10008.5.1.4.1.1.3.1",
            "rows": 480,
            "columns": 640,
            "xray": None,
            "regions": regions,
            **changes,
        }
    )


def catheter_scale(*, key: str = "catheter-a", aspect: float = 1.0, **changes: Any) -> PixelScale:
    """Make a scale as a 2 mm catheter of 12.4 px gives it: object, reading and depth."""
    row = scale_from_reference_object(
        key=key,
        known_size=rectangular(
            2.0, 0.05, key="catheter-2", unit="mm", source="micrometer", component="object"
        ),
        seen_size=InputQuantity(
            key=f"{key}:seen",
            value=12.4,
            u=0.25,
            unit="px",
            dof=15,
            evaluation="A",
            distribution="t",
            component="scale",
            source="a test's reading",
        ),
        depth_ratio=rectangular(
            1.0, 20 / 750, key=f"{key}:depth", unit="1", source="±20 mm", component="depth"
        ),
    )
    first, second = pair_of_scales(row, aspect)
    plain = PixelScale(
        key=key,
        kind="catheter",
        row=first,
        column=second,
        basis="a test's catheter",
        geometry=SQUARE,
        object_id="catheter-2",
        depth_group=f"{key}:depth",
    )
    return replace(plain, **changes)


def plain_scale(mm_per_px: float = 0.2, u_rel: float = 0.02, *, key: str = "given-a") -> PixelScale:
    """Make a scale that rests on one stated number."""
    number = stated(
        mm_per_px, mm_per_px * u_rel, key=key, unit="mm/px", source="test", component="scale"
    )
    row = propagate(lambda value: value, [number], unit="mm/px")
    return PixelScale(key=key, kind="given", row=row, column=row, basis="test", geometry=SQUARE)


# ---------------------------------------------------------------- reads
reasons = st.sampled_from(["", "agreed with physicist", "phantom, 2 % off"])
depths = st.one_of(st.none(), st.floats(0.0, 50.0))
angles = st.one_of(st.none(), st.floats(0.0, 60.0))
words = st.text("abc äöü ,;:-'\"=+°±\n", max_size=20)


def _readings(points_of: st.SearchStrategy, *, radius: bool = False) -> st.SearchStrategy:
    """Draw one to three looks at an object, each in its own frame."""
    frames = st.lists(st.integers(0, 60), min_size=1, max_size=3, unique=True)
    radii = st.floats(2.0, 60.0) if radius else st.none()
    return frames.flatmap(
        lambda numbers: st.tuples(
            *(
                st.builds(ObjectReading, frame=st.just(n), points=points_of, radius_px=radii)
                for n in numbers
            )
        )
    )


@st.composite
def catheter_requests(draw: st.DrawFn) -> ObjectRequest:
    """Draw a catheter by French or mm, labelled or measured, outer or inner."""
    french = draw(st.one_of(st.none(), st.floats(3.0, 24.0)))
    size_mm = french_to_mm(french) if french is not None else draw(st.floats(1.0, 8.0))
    source = draw(st.sampled_from(["label", "measured"]))
    inner = french is None and source == "measured" and draw(st.booleans())
    factor = draw(st.floats(1.05, 1.8))
    other = draw(st.sampled_from([None, size_mm * factor if inner else size_mm / factor]))
    return ObjectRequest(
        kind="catheter",
        size=KnownSize(
            size_mm=size_mm,
            tolerance_mm=0.05 if source == "label" else draw(st.floats(0.001, 0.2)),
            source=source,
            name="catheter lumen" if inner else "catheter",
            size_fr=french,
        ),
        readings=draw(_readings(paths(longest=4))),
        surface="inner" if inner else "outer",
        other_mm=other,
        filling=draw(st.sampled_from(["empty", "contrast", "unknown"])),
        material=draw(words),
        placing=draw(st.builds(Placing, depth_offset_mm=depths, tilt_deg=angles, overrule=reasons)),
    )


def _measured(name: str) -> st.SearchStrategy[KnownSize]:
    return st.builds(
        KnownSize,
        size_mm=st.floats(1.0, 100.0),
        tolerance_mm=st.floats(0.001, 0.9),
        source=st.just("measured"),
        name=st.just(name),
    )


_placings = st.builds(Placing, depth_offset_mm=depths, tilt_deg=angles, overrule=reasons)
sphere_requests = st.builds(
    ObjectRequest,
    kind=st.just("sphere"),
    size=_measured("sphere"),
    readings=_readings(st.tuples(points), radius=True),
    material=words,
    placing=_placings,
)
segment_requests = st.builds(
    ObjectRequest,
    kind=st.just("segment"),
    size=_measured("length"),
    readings=_readings(paths()),
    material=words,
    u_end_px=st.one_of(st.none(), st.floats(0.1, 5.0)),
    placing=_placings,
)
object_names = st.sampled_from(["", "wire 3", "grid A"])


def _spaced(kind: str, name: str, points_of: st.SearchStrategy) -> st.SearchStrategy:
    """Draw marks at a known spacing, named and counted or not."""
    counts = st.one_of(st.none(), st.integers(3, 20)) if kind != "grid" else st.none()
    return st.builds(
        ObjectRequest,
        kind=st.just(kind),
        size=st.builds(replace, _measured(name), object_name=object_names),
        readings=_readings(points_of),
        count=counts,
        material=words,
        placing=_placings,
    )


spaced_requests = st.one_of(
    _spaced("markers", "marker spacing", paths(longest=4)),
    _spaced("step", "step spacing", paths(longest=2)),
    _spaced("grid", "grid spacing", st.tuples(points, points, points, points)),
)
relative = st.floats(1e-4, 0.5)
sizes_of_pixel = st.floats(0.01, 2.0)
scale_requests: st.SearchStrategy[ScaleRequest] = st.one_of(
    catheter_requests(),
    sphere_requests,
    segment_requests,
    spaced_requests,
    st.builds(
        HeaderRequest,
        u_rel=st.one_of(st.none(), relative),
        placing=st.builds(Placing, depth_offset_mm=depths, overrule=reasons),
    ),
    st.builds(
        GivenRequest,
        mm_per_px=st.tuples(sizes_of_pixel, sizes_of_pixel),
        u_rel=relative,
        placing=st.builds(Placing, overrule=reasons),
    ),
    st.builds(BorrowedRequest, file=names, placing=st.builds(Placing, overrule=reasons)),
)


@st.composite
def calipers(draw: st.DrawFn, *, key: str, sop_instance_uid: str) -> Caliper:
    """Draw a caliper of any quantity with any of its optional fields."""
    measurand = MEASURANDS[draw(st.sampled_from(sorted(MEASURANDS)))]
    u_end = draw(st.sampled_from([{}, {"u_end_px": 0.7}, {"u_end_mm": 0.25}]))
    return Caliper(
        key=key,
        measurand=measurand,
        frame=FrameReference(sop_instance_uid=sop_instance_uid, frame=draw(st.integers(0, 60))),
        points=draw(drawings(measurand)),
        view_deg=draw(st.one_of(st.none(), st.floats(0.0, 179.0))),
        repeat=draw(st.integers(1, 5)),
        beat=draw(st.one_of(st.none(), st.integers(0, 4))),
        moment=draw(st.one_of(st.none(), st.just("largest"))),
        tilt_deg=draw(angles),
        origin=draw(st.sampled_from(["drawn", "tracked", "refined"])),
        confirmed=draw(st.booleans()),
        note=draw(words),
        **u_end,
    )


@st.composite
def loop_reads(draw: st.DrawFn, *, file: str) -> LoopRead:
    """Draw one loop's part of a read."""
    uid = draw(st.one_of(st.none(), st.just(SOP_UID)))
    count = draw(st.integers(0, 3))
    return LoopRead(
        file=file,
        sop_instance_uid=uid,
        conditions=draw(
            st.sampled_from(
                [
                    Conditions(),
                    Conditions(rhythm="atrial fibrillation"),
                    Conditions(filling="full", moment="largest", atrial_pressure_mmhg=12.0),
                ]
            )
        ),
        apex=draw(st.sampled_from([None, PixelPoint(-4.5, 319.5)])),
        view=draw(
            st.sampled_from([ViewOverride(), ViewOverride(primary_deg=-30.0, plane_deg=45.0)])
        ),
        scale=draw(st.one_of(st.none(), scale_requests)),
        calipers=tuple(
            draw(calipers(key=f"{file}-{n}", sop_instance_uid=uid or "")) for n in range(count)
        ),
    )


@st.composite
def reads(draw: st.DrawFn) -> Read:
    """Draw a whole read of up to three loops."""
    files = draw(st.lists(names, max_size=3, unique=True))
    return Read(
        reader=draw(names),
        protocol=draw(st.sampled_from(["closure-planning", "own"])),
        study=draw(st.one_of(st.none(), names)),
        implant=draw(st.sampled_from([None, Implant(nominal_width_mm=24.0, tolerance_mm=0.2)])),
        loops=tuple(draw(loop_reads(file=file)) for file in files),
    )
