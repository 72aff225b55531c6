"""A glance at a header, for looking through whole archives: a few attributes, the rest skipped.

Nothing is converted that is not needed, and reading stops before functional groups and pixels.

`read_header` knows more and costs several times as much; enhanced objects, whose geometry lies in
functional groups, and files that are deflated or odd in form are left to it.
"""

from collections.abc import Mapping
from dataclasses import dataclass
from math import isfinite
from pathlib import Path
from struct import unpack
from typing import Any, BinaryIO

from pydicom.dataelem import DataElement, RawDataElement, convert_raw_data_element
from pydicom.dataset import Dataset
from pydicom.filereader import data_element_generator
from pydicom.tag import BaseTag, Tag
from pydicom.uid import (
    DeflatedExplicitVRLittleEndian,
    ExplicitVRBigEndian,
    ImplicitVRLittleEndian,
)

from annot.errors import LoopError
from annot.loops.dicom_file import reached
from annot.loops.imaging_system import system_hash
from annot.loops.quiet import captured_warnings
from annot.loops.timing import StatedTiming
from annot.loops.ultrasound_regions import UltrasoundRegion

Pair = tuple[float, float]
KEYWORDS = {
    0x00080016: "SOPClassUID",
    0x00080018: "SOPInstanceUID",
    0x00080020: "StudyDate",
    0x00080022: "AcquisitionDate",
    0x00080023: "ContentDate",
    0x00080060: "Modality",
    0x00080070: "Manufacturer",
    0x00081090: "ManufacturerModelName",
    0x00082144: "RecommendedDisplayFrameRate",
    0x00180040: "CineRate",
    0x00180060: "KVP",
    0x00181000: "DeviceSerialNumber",
    0x00181020: "SoftwareVersions",
    0x00181063: "FrameTime",
    0x00181065: "FrameTimeVector",
    0x00181110: "DistanceSourceToDetector",
    0x00181111: "DistanceSourceToPatient",
    0x00181114: "EstimatedRadiographicMagnificationFactor",
    0x00181150: "ExposureTime",
    0x00181151: "XRayTubeCurrent",
    0x00181164: "ImagerPixelSpacing",
    0x00186011: "SequenceOfUltrasoundRegions",
    0x0020000D: "StudyInstanceUID",
    0x00280008: "NumberOfFrames",
    0x00280009: "FrameIncrementPointer",
    0x00280010: "Rows",
    0x00280011: "Columns",
    0x00280030: "PixelSpacing",
    0x00280A02: "PixelSpacingCalibrationType",
}
_TAGS: list[BaseTag | int] = [Tag(one) for one in KEYWORDS]
_LAST = max(KEYWORDS)
_META_START = 132
_SYNTAX = 0x00020010
_FUNCTIONAL_GROUPS = frozenset(
    f"1.2.840.10008.5.1.4.1.1.{tail}" for tail in ("12.1.1", "12.2.1", "6.2")
)
_POINTERS = {0x00181063: "FrameTime", 0x00181065: "FrameTimeVector"}
Found = Mapping[int, RawDataElement | DataElement]
_REGION_PARTS = (  # tag within a region's item, how it is packed, its size in bytes
    (0x00186012, "H", 2),
    (0x00186014, "H", 2),
    (0x00186016, "I", 4),
    (0x00186018, "I", 4),
    (0x0018601A, "I", 4),
    (0x0018601C, "I", 4),
    (0x0018601E, "I", 4),
    (0x00186024, "H", 2),
    (0x00186026, "H", 2),
    (0x0018602C, "d", 8),
    (0x0018602E, "d", 8),
)
_REGION_FIELDS = (
    "spatial_format",
    "data_type",
    "flags",
    "min_x0",
    "min_y0",
    "max_x1",
    "max_y1",
    "units_x",
    "units_y",
    "delta_x",
    "delta_y",
)


@dataclass(frozen=True, slots=True, kw_only=True)
class HeaderGlance:
    """What a look through an archive needs of one file, as stored.

    Attributes
    ----------
    whole
        Whether `read_header` must be asked instead, because the form of the file asks for it.
    station, system
        Pseudonyms of the machine without and with its software; empty if unknown.
    software
        As stated, joined by a backslash.
    date
        YYYYMMDD of the acquisition, else of content or study; empty if none is stated.
    spacing_mm, imager_spacing_mm
        (row, column); None if absent or no two numbers.
    odd
        Keywords whose value is no number though one belongs there.
    exposure
        Voltage in kV, tube current in mA and exposure time in ms, each None if absent.
    regions
        Ultrasound regions; None where the sequence cannot be read.
    """

    path: Path
    sop_class_uid: str
    sop_instance_uid: str
    modality: str
    station: str
    system: str
    software: str
    date: str
    frames: int
    rows: int
    columns: int
    timing: StatedTiming
    spacing_mm: Pair | None = None
    imager_spacing_mm: Pair | None = None
    calibration_type: str = ""
    source_to_detector_mm: float | None = None
    source_to_patient_mm: float | None = None
    magnification: float | None = None
    exposure: tuple[float | None, ...] = (None, None, None)
    regions: tuple[UltrasoundRegion, ...] | None = ()
    odd: tuple[str, ...] = ()
    whole: bool = False


def glance(path: Path) -> HeaderGlance:
    """Read what a look through an archive needs; no pixel is read.

    Raises
    ------
    LoopError
        If the file cannot be read or is no DICOM file.
    """
    try:
        found, little = _raw(path)
        return _described(path, found, little=little)
    except LoopError:
        raise
    except Exception as fault:
        raise LoopError(
            f"{path.name}: the DICOM attributes cannot be read ({type(fault).__name__}); the file "
            "is damaged, so copy it again from where it was stored."
        ) from fault


def _raw(path: Path) -> tuple[Found, bool]:
    with reached(path).opened() as stream, captured_warnings():
        stream.seek(_META_START)
        syntax = _syntax(stream, path.name)
        if syntax == DeflatedExplicitVRLittleEndian:
            return {}, True
        little = syntax != ExplicitVRBigEndian
        elements = data_element_generator(
            stream,
            syntax == ImplicitVRLittleEndian,
            little,
            stop_when=_beyond,
            specific_tags=_TAGS,
        )
        return {int(one.tag): one for one in elements}, little


def _beyond(tag: BaseTag, _vr: str | None, _length: int) -> bool:
    return int(tag) > _LAST


def _syntax(stream: BinaryIO, name: str) -> str:
    # group 2 is always explicit and little endian (PS3.10 7.1)
    meta = data_element_generator(stream, False, True, stop_when=lambda tag, _v, _l: tag > 0x2FFFF)
    for element in meta:
        if element.tag == _SYNTAX and isinstance(element.value, bytes):
            text = element.value.decode("ascii").strip(" \0")
            # what is left of the group is short, and reading it leaves the stream behind it
            for _ in meta:
                pass
            return text
    raise LoopError(f"{name} does not name its transfer syntax: export the file again.")


class _Values:
    """Raw values as text and numbers; whatever is no number though it should be is noted."""

    def __init__(self, found: Found, *, little: bool) -> None:
        self._found, self._order = found, "<" if little else ">"
        self.odd: list[str] = []

    def text(self, tag: int) -> str:
        element = self._found.get(tag)
        value = None if element is None else element.value
        return value.decode("latin-1").strip(" \0") if isinstance(value, bytes) else ""

    def short(self, tag: int) -> int:
        element = self._found.get(tag)
        value = None if element is None else element.value
        return int(unpack(self._order + "H", value[:2])[0]) if value else 0

    def numbers(self, tag: int) -> tuple[float, ...]:
        text = self.text(tag)
        if not text:
            return ()
        try:
            numbers = tuple(map(float, text.split("\\")))
        except ValueError:
            numbers = ()
        if not numbers or not all(map(isfinite, numbers)):
            self.odd.append(KEYWORDS[tag])
            return ()
        return numbers

    def number(self, tag: int) -> float | None:
        numbers = self.numbers(tag)
        if len(numbers) > 1:
            self.odd.append(KEYWORDS[tag])
        return numbers[0] if len(numbers) == 1 else None

    def pair(self, tag: int) -> Pair | None:
        numbers = self.numbers(tag)
        if numbers and len(numbers) != 2:
            self.odd.append(KEYWORDS[tag])
        return (numbers[0], numbers[1]) if len(numbers) == 2 else None

    def pointer(self) -> str | None:
        element = self._found.get(0x00280009)
        value = None if element is None else element.value
        if not isinstance(value, bytes) or len(value) < 4:
            return None
        group, number = unpack(self._order + "HH", value[:4])
        return _POINTERS.get(group << 16 | number)

    def regions(self) -> tuple[UltrasoundRegion, ...] | None:
        element = self._found.get(0x00186011)
        if element is None:
            return ()
        if isinstance(element, RawDataElement):
            element = convert_raw_data_element(element)
        regions = [_region(item, self._order) for item in element.value or ()]
        return None if None in regions else tuple(one for one in regions if one is not None)


def _region(item: Dataset, order: str) -> UltrasoundRegion | None:
    values: list[Any] = []
    for tag, packed, size in _REGION_PARTS:
        raw = item.get_item(tag)
        value = None if raw is None else raw.value
        if not isinstance(value, bytes) or len(value) != size:
            if packed == "d":
                values.append(None)  # a step that is not there gives no length
                continue
            return None
        values.append(unpack(order + packed, value)[0])
    return UltrasoundRegion(**dict(zip(_REGION_FIELDS, values, strict=True)))


def _described(path: Path, found: Found, *, little: bool) -> HeaderGlance:
    seen = _Values(found, little=little)
    sop_class = seen.text(0x00080016)
    study, modality = seen.text(0x0020000D), seen.text(0x00080060)
    software = seen.text(0x00181020)
    machine = [seen.text(tag) for tag in (0x00080070, 0x00081090, 0x00181000)]
    frames = seen.number(0x00280008)
    return HeaderGlance(
        path=path,
        sop_class_uid=sop_class,
        sop_instance_uid=seen.text(0x00080018),
        modality=modality,
        station=system_hash(modality, machine, study),
        system=system_hash(modality, [*machine, software], study),
        software=software,
        date=seen.text(0x00080022) or seen.text(0x00080023) or seen.text(0x00080020),
        frames=int(frames or 1),
        rows=seen.short(0x00280010),
        columns=seen.short(0x00280011),
        timing=_timing(seen, int(frames or 1)),
        spacing_mm=seen.pair(0x00280030),
        imager_spacing_mm=seen.pair(0x00181164),
        calibration_type=seen.text(0x00280A02),
        source_to_detector_mm=seen.number(0x00181110),
        source_to_patient_mm=seen.number(0x00181111),
        magnification=seen.number(0x00181114),
        exposure=tuple(map(seen.number, (0x00180060, 0x00181151, 0x00181150))),
        regions=seen.regions(),
        whole=not found
        or sop_class in _FUNCTIONAL_GROUPS
        # names in another alphabet are decoded by the file's own character set
        or not all(map(str.isascii, (*machine, software))),
        odd=tuple(seen.odd),
    )


def _timing(seen: _Values, frames: int) -> StatedTiming:
    return StatedTiming(
        frames=frames,
        frame_time_ms=seen.number(0x00181063),
        increments_ms=seen.numbers(0x00181065) or None,
        pointer=seen.pointer(),
        cine_rate=seen.number(0x00180040),
        display_rate=seen.number(0x00082144),
    )
