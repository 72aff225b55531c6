"""Whether a blinded copy is its source to the last digit, and holds none of its identifiers."""

import hashlib
import re
from collections.abc import Iterator, Sequence
from dataclasses import fields, replace
from pathlib import Path
from typing import Any

import numpy as np
import numpy.typing as npt
from pydicom.dataset import Dataset
from pydicom.valuerep import PersonName

from annot.errors import InputError
from annot.exports.deidentification_table import DEVICE_CODES, DUMMIES, OPTIONS, TABLE
from annot.loops import Device, Loop, LoopHeader, XrayView, open_loop
from annot.loops.dicom_file import parse_file
from annot.loops.display import Display
from annot.loops.quiet import captured_warnings

# What a copy may have otherwise than its source: who it is, how it is encoded, what is said of it.
_OTHERWISE = """path sop_instance_uid study_instance_uid series_instance_uid transfer_syntax_uid
transfer_syntax_name photometric samples_per_pixel bits_allocated bits_stored
pixel_representation system burned_in images warnings"""
# Texts that name a person, a place, a thing or an examination; shorter ones occur by chance.
_NAMING = """PatientName PatientID OtherPatientIDs OtherPatientNames AccessionNumber StudyID
InstitutionName InstitutionAddress StationName ReferringPhysicianName PerformingPhysicianName
OperatorsName DeviceSerialNumber StudyInstanceUID SeriesInstanceUID SOPInstanceUID
FrameOfReferenceUID PatientBirthDate"""
_LEAST_LENGTH, _LEAST_DIGITS = 5, 8
# Texts that every copy has, whoever it shows.
_WRITTEN_ANYWAY = " ".join(
    (
        *OPTIONS.values(),
        *DEVICE_CODES.values(),
        *DUMMIES.values(),
        *(term for rule in TABLE.values() for term in rule.terms),
    )
)


def frame_digest(frame: npt.NDArray[Any]) -> str:
    """Return the SHA-256 of a frame's samples."""
    return hashlib.sha256(np.ascontiguousarray(frame).tobytes()).hexdigest()


def refuse_unlike(loop: Loop, copy: Path, digests: Sequence[str]) -> None:
    """Refuse a copy whose frames or header facts are not the loop's own.

    Parameters
    ----------
    loop : Loop
        The source.
    copy : Path
        The blinded file.
    digests : sequence of str
        Of every masked frame of the source, in order.

    Raises
    ------
    InputError
        With the first frame or fact that differs.
    """
    found, name = open_loop(copy), loop.header.path.name
    for number, digest in enumerate(digests):
        if found.frames != len(digests) or frame_digest(found.frame(number)) != digest:
            raise InputError(f"{name}: frame {number} of its blinded copy is not the loop's own.")
    for fact, (stored, copied) in _facts(loop, found).items():
        if stored != copied:
            raise InputError(
                f"{name}: its blinded copy would lose what the header says of {fact}, so values "
                "could differ; it cannot be handed out blinded."
            )


def _facts(loop: Loop, copy: Loop) -> dict[str, tuple[object, object]]:
    ours, theirs = _comparable(loop.header), _comparable(copy.header)
    names = [one.name for one in fields(LoopHeader) if one.name not in _OTHERWISE.split()]
    facts = {name: (getattr(ours, name), getattr(theirs, name)) for name in names}
    if not loop.header.colour:
        facts["display"] = (_nameless(loop.display), _nameless(copy.display))
        facts["subtraction"] = (loop.masks, copy.masks)
    return facts


def _comparable(header: LoopHeader) -> LoopHeader:
    """Return a header without the free texts that never reach a copy."""
    return replace(
        header,
        xray=None if header.xray is None else _comparable_view(header.xray),
        devices=tuple(_comparable_device(one) for one in header.devices),
    )


def _comparable_view(view: XrayView) -> XrayView:
    known = view.plane in TABLE["ImageType"].terms
    return replace(view, calibration_description=None, plane=view.plane if known else None)


def _comparable_device(device: Device) -> Device:
    if (device.code, device.scheme) in DEVICE_CODES:
        return replace(device, meaning="")
    return replace(device, code="", scheme="", meaning="")


def _nameless(display: Display) -> Display:
    table = display.modality_table
    return replace(
        display,
        windows=tuple(replace(one, name="") for one in display.windows),
        tables=tuple(replace(one, name="") for one in display.tables),
        modality_table=None if table is None else replace(table, name=""),
        notes=(),
    )


def refuse_leak(source: Path, copy: Path) -> None:
    """Refuse a copy in whose bytes an identifier of the source stands.

    This is a second look at what the allow-list already keeps out: names, numbers and UIDs of the
    source, its file's name and everything in its private attributes.

    Raises
    ------
    InputError
        If one is found; the sentence names the attribute, never its value.
    """
    ours = open_loop(copy).header
    content = copy.read_bytes()
    for uid in (ours.sop_instance_uid, ours.study_instance_uid, ours.series_instance_uid):
        content = content.replace(uid.encode(), b"")  # its many digits hold others by chance
    for keyword, text in identifying_texts(source):
        if text in _WRITTEN_ANYWAY:
            continue
        if text.encode("utf-8") in content or text.encode("latin-1", "replace") in content:
            raise InputError(
                f"{source.name}: its blinded copy still holds a text of {keyword}, so it is not "
                "handed out; please report this as a fault of the program."
            )


def identifying_texts(source: Path) -> Iterator[tuple[str, str]]:
    """Yield attribute and text of what names somebody or something, where long enough to tell."""
    dataset = parse_file(source).dataset
    with captured_warnings():
        for place, text in (("its file name", source.stem), *_texts(dataset)):
            for part in re.split(r"[\^=\\\0]+", text):
                stripped = part.strip()
                if len(stripped) >= (_LEAST_DIGITS if stripped.isdigit() else _LEAST_LENGTH):
                    yield place, stripped


def _texts(dataset: Dataset) -> Iterator[tuple[str, str]]:
    for keyword in _NAMING.split():
        if keyword in dataset:
            values = dataset[keyword].value
            for one in values if isinstance(values, list | tuple) else [values]:
                yield keyword, str(one or "")
    for element in dataset:
        if element.tag.is_private and isinstance(element.value, str | PersonName):
            yield "a private attribute", str(element.value)
