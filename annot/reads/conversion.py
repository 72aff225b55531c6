"""A checked read file to the frozen read, and back."""

from collections import Counter
from dataclasses import asdict

from annot.calibration import ScaleRequest
from annot.errors import InputError
from annot.geometry import pixel_point
from annot.measurement import Caliper
from annot.measurement.placed_landmark import PlacedLandmark
from annot.reads.caliper_parts import CaliperPart, LandmarkPart
from annot.reads.object_parts import part_of, request_of
from annot.reads.read import Conditions, Implant, LoopRead, Read, ViewOverride
from annot.reads.read_file import (
    VERSION,
    ConditionsPart,
    ImplantPart,
    LoopPart,
    ReadFile,
    ViewPart,
)
from annot.vocabulary import MEASURANDS, FrameReference


def read_of(document: ReadFile, *, name: str) -> Read:
    """Return the frozen read of a checked file.

    Raises
    ------
    InputError
        If a quantity is not known, a file or an id stands twice, or a caliper or a reference
        object cannot be one.
    """
    files = Counter(loop.file for loop in document.loops)
    again = sorted(file for file, count in files.items() if count > 1)
    if again:
        raise InputError(
            f"{name}: each loop stands once in a read, but {', '.join(again)} repeat: put their "
            "calipers together under one scale."
        )
    ids = Counter(one.id for loop in document.loops for one in loop.calipers)
    twice = sorted(key for key, count in ids.items() if count > 1)
    if twice:
        raise InputError(f"{name}: caliper ids must be unique, but {', '.join(twice)} repeat.")
    try:
        loops = tuple(_loop(part) for part in document.loops)
    except InputError as fault:
        raise InputError(f"{name}: {fault.message}") from None
    implant = document.implant
    return Read(
        reader=document.reader,
        protocol=document.protocol,
        study=document.study,
        implant=None if implant is None else Implant(**implant.model_dump()),
        loops=loops,
    )


def _loop(part: LoopPart) -> LoopRead:
    return LoopRead(
        file=part.file,
        sop_instance_uid=part.sop_instance_uid,
        conditions=Conditions(**part.conditions.model_dump()),
        view=ViewOverride(
            primary_deg=part.view.primary_deg,
            secondary_deg=part.view.secondary_deg,
            plane_deg=part.view.plane_deg,
        ),
        apex=None if part.apex_px is None else pixel_point(part.apex_px),
        scale=_scale(part),
        calipers=tuple(_caliper(one, part) for one in part.calipers),
        landmarks=_landmarks(part),
    )


def _landmarks(part: LoopPart) -> tuple[PlacedLandmark, ...]:
    places = Counter((one.name, one.frame) for one in part.landmarks)
    twice = [f"{name} on frame {frame}" for (name, frame), count in places.items() if count > 1]
    if twice:
        raise InputError(f"{part.file}: {', '.join(sorted(twice))} is placed twice; keep one.")
    try:
        return tuple(
            PlacedLandmark(
                name=one.name,
                frame=one.frame,
                points=tuple(pixel_point(point) for point in one.points_px),
                u_px=one.u_px,
            )
            for one in part.landmarks
        )
    except InputError as fault:
        raise InputError(f"{part.file}: {fault.message}") from None


def _scale(part: LoopPart) -> ScaleRequest | None:
    """Return the request for a loop's scale; what is at fault with it names the loop."""
    if part.scale is None:
        return None
    try:
        return request_of(part.scale)
    except InputError as fault:
        raise InputError(f"{part.file}: {fault.message}") from None


def _caliper(part: CaliperPart, loop: LoopPart) -> Caliper:
    measurand = MEASURANDS.get(part.quantity)
    if measurand is None:
        raise InputError(
            f"Caliper {part.id} asks for the quantity '{part.quantity}'; known are "
            f"{', '.join(MEASURANDS)}."
        )
    return Caliper(
        key=part.id,
        measurand=measurand,
        frame=FrameReference(sop_instance_uid=loop.sop_instance_uid or "", frame=part.frame),
        points=tuple(pixel_point(point) for point in part.points_px),
        view_deg=part.view_deg,
        repeat=part.repeat,
        beat=part.beat,
        moment=part.moment,
        u_end_px=part.u_end_px,
        u_end_mm=part.u_end_mm,
        tilt_deg=part.tilt_deg,
        origin=part.origin,
        confirmed=part.confirmed,
        note=part.note,
    )


def file_of(read: Read) -> ReadFile:
    """Return the read file of a frozen read, the reverse of `read_of`."""
    return ReadFile(
        annot_read=VERSION,
        reader=read.reader,
        protocol=read.protocol,
        study=read.study,
        implant=None if read.implant is None else ImplantPart(**asdict(read.implant)),
        loops=[_loop_part(loop) for loop in read.loops],
    )


def _loop_part(loop: LoopRead) -> LoopPart:
    return LoopPart(
        file=loop.file,
        sop_instance_uid=loop.sop_instance_uid,
        conditions=ConditionsPart(**asdict(loop.conditions)),
        view=ViewPart(
            primary_deg=loop.view.primary_deg,
            secondary_deg=loop.view.secondary_deg,
            plane_deg=loop.view.plane_deg,
        ),
        apex_px=None if loop.apex is None else (loop.apex.row, loop.apex.column),
        scale=None if loop.scale is None else part_of(loop.scale),
        calipers=tuple(_caliper_part(one) for one in loop.calipers),
        landmarks=tuple(
            LandmarkPart(
                name=one.name,
                frame=one.frame,
                points_px=[(point.row, point.column) for point in one.points],
                u_px=one.u_px,
            )
            for one in loop.landmarks
        ),
    )


def _caliper_part(caliper: Caliper) -> CaliperPart:
    if caliper.origin == "derived":
        raise ValueError(f"{caliper.key} follows from landmarks, so it is not kept")
    return CaliperPart(
        id=caliper.key,
        quantity=caliper.measurand.name,
        frame=caliper.frame.frame,
        points_px=[(point.row, point.column) for point in caliper.points],
        view_deg=caliper.view_deg,
        repeat=caliper.repeat,
        beat=caliper.beat,
        moment=caliper.moment,
        u_end_px=caliper.u_end_px,
        u_end_mm=caliper.u_end_mm,
        tilt_deg=caliper.tilt_deg,
        origin=caliper.origin,
        confirmed=caliper.confirmed,
        note=caliper.note,
    )
