"""From a parsed file to a `LoopHeader`, without touching a pixel."""

from pathlib import Path

from annot.errors import LoopError
from annot.loops.attributes import Attributes
from annot.loops.devices import read_devices
from annot.loops.dicom_file import DicomFile, parse_file
from annot.loops.functional_groups import (
    acquisition_times_ms,
    calibration_frames,
    differing,
    unfolded,
)
from annot.loops.header import LoopHeader
from annot.loops.imaging_system import system_pseudonym
from annot.loops.native_frames import shortfall
from annot.loops.pixel_layout import PixelLayout, read_pixel_layout
from annot.loops.region_reading import read_regions
from annot.loops.timing_reading import read_frame_times, read_heart_rate, read_r_waves
from annot.loops.transfer_syntaxes import NATIVE, is_lossy, syntax_name
from annot.loops.xray_reading import read_xray_view
from annot.loops.xray_view import XrayView

_XRAY_CLASSES = "1.2.840.10008.5.1.4.1.1.12."
_XRAY_MODALITIES = frozenset({"XA", "RF"})
# Single and multi-frame ultrasound, their retired forms, and enhanced volumes (PS3.4 B.5, B.6).
_ULTRASOUND_CLASSES = frozenset(
    f"1.2.840.10008.5.1.4.1.1.{tail}" for tail in ("3", "3.1", "6", "6.1", "6.2")
)
_VOLUME = "1.2.840.10008.5.1.4.1.1.6.2"  # enhanced ultrasound: calibrated like a volume
_LOSSY_FLAGS = {"00": False, "01": True}


def read_header(path: Path | str) -> LoopHeader:
    """Read the header of a loop; no pixel data are read.

    Parameters
    ----------
    path
        A DICOM file. Only a deflated file has to be inflated as a whole.

    Raises
    ------
    LoopError
        If the file is no DICOM image or its image attributes contradict each other.
    """
    return describe(parse_file(Path(path)))[0]


def describe(file: DicomFile) -> tuple[LoopHeader, PixelLayout]:
    """Header and pixel layout of a parsed file."""
    if file.pixels is None:
        raise LoopError(f"{file.path.name} holds no pixel data: it is not an image or was cut off.")
    warnings: list[str] = []
    attributes = Attributes(file.dataset, warnings)
    if file.irregular:
        attributes.warn("The file departs from the standard's form; check what it shows.")
    layout = read_pixel_layout(attributes, file_name=file.path.name)
    _note_size(file, layout, attributes)
    plain = unfolded(file.dataset, warnings, frames=layout.frames)
    attributes = Attributes(plain, warnings)
    return _assemble(file, layout, attributes), layout


def _assemble(file: DicomFile, layout: PixelLayout, attributes: Attributes) -> LoopHeader:
    sop_class, modality = _kind(file, attributes)
    shows_xray = sop_class.startswith(_XRAY_CLASSES) or modality in _XRAY_MODALITIES
    xray = _xray(file, attributes, layout.frames) if shows_xray else None
    study = _uid(attributes, "StudyInstanceUID")
    acquired = acquisition_times_ms(file.dataset, frames=layout.frames)
    times = read_frame_times(attributes, frames=layout.frames, acquired=acquired)
    syntax = str(file.transfer_syntax)
    return LoopHeader(
        path=file.path,
        sop_instance_uid=_sop_instance_uid(file, attributes),
        sop_class_uid=sop_class,
        study_instance_uid=study,
        series_instance_uid=_uid(attributes, "SeriesInstanceUID"),
        modality=modality,
        transfer_syntax_uid=syntax,
        transfer_syntax_name=syntax_name(syntax),
        rows=layout.rows,
        columns=layout.columns,
        frames=layout.frames,
        samples_per_pixel=layout.samples_per_pixel,
        bits_allocated=layout.bits_allocated,
        bits_stored=layout.bits_stored,
        pixel_representation=layout.pixel_representation,
        photometric=layout.photometric,
        frame_times=times,
        r_wave_times_ms=read_r_waves(attributes, times),
        heart_rate=read_heart_rate(attributes),
        xray=xray,
        regions=read_regions(attributes, rows=layout.rows, columns=layout.columns),
        pixel_spacing_mm=_pixel_spacing(attributes, sop_class, modality) if xray is None else None,
        devices=read_devices(attributes),
        system=system_pseudonym(attributes, study_instance_uid=study),
        window=_window(attributes),
        burned_in=attributes.yes_no("BurnedInAnnotation"),
        lossy=_lossy(attributes, syntax),
        # Keyword arguments are evaluated in order, so every fault above is noted by now.
        warnings=tuple(attributes.warnings),
    )


def _pixel_spacing(
    attributes: Attributes, sop_class: str, modality: str
) -> tuple[float, float] | None:
    spacing = attributes.pixel_sides("PixelSpacing")
    if spacing and modality == "US" and sop_class != _VOLUME:
        attributes.warn("PixelSpacing does not belong in an ultrasound loop; use its regions.")
    return spacing


def _note_size(file: DicomFile, layout: PixelLayout, attributes: Attributes) -> None:
    """Compare what the header claims of native pixel data with what the file holds."""
    if str(file.transfer_syntax) not in NATIVE or file.pixels is None:
        return
    fault = shortfall(file, layout)
    if fault:
        attributes.warn(f"{fault[0].upper()}{fault[1:]}")
    surplus = (file.pixels.length or 0) - layout.frames * layout.frame_bytes
    if surplus >= layout.frame_bytes:
        attributes.warn(
            f"The pixel data hold {surplus // layout.frame_bytes} frames more than the "
            f"{layout.frames} of the header; those are not shown."
        )


def _kind(file: DicomFile, attributes: Attributes) -> tuple[str, str]:
    meta = Attributes(file.meta, attributes.warnings)
    sop_class = attributes.text("SOPClassUID") or meta.text("MediaStorageSOPClassUID") or ""
    modality = attributes.text("Modality") or ""
    if not modality:
        attributes.warn("Modality is missing, so what the loop shows is not known.")
    says_xray = sop_class.startswith(_XRAY_CLASSES)
    says_ultrasound = sop_class in _ULTRASOUND_CLASSES
    if (says_xray and modality == "US") or (says_ultrasound and modality in _XRAY_MODALITIES):
        attributes.warn(f"Modality is {modality}, but the SOP class is another kind of image.")
    return sop_class, modality


def _xray(file: DicomFile, attributes: Attributes, frames: int) -> XrayView:
    return read_xray_view(
        attributes,
        frames=frames,
        differing=differing(file.dataset, frames=frames),
        calibration_frames=calibration_frames(file.dataset, frames=frames),
    )


def _uid(attributes: Attributes, keyword: str) -> str:
    uid = attributes.text(keyword)
    if uid is None:
        attributes.warn(f"{keyword} is missing.")
    return uid or ""


def _sop_instance_uid(file: DicomFile, attributes: Attributes) -> str:
    """Find the identifier that every measurement of this loop will carry."""
    stated = attributes.text("SOPInstanceUID")
    meta = Attributes(file.meta, attributes.warnings)
    stored = meta.text("MediaStorageSOPInstanceUID") or stated
    uid = stated or stored
    if uid is None:
        raise LoopError(
            f"{file.path.name} has no SOP Instance UID, so no measurement could be traced to "
            "it: export the file again."
        )
    if stated is None:
        attributes.warn("SOPInstanceUID is missing; the one of the file meta information is used.")
    elif stored != stated:
        attributes.warn("The file meta information names another SOP Instance UID than the image.")
    return uid


def _window(attributes: Attributes) -> tuple[float, float] | None:
    centres, widths = attributes.numbers("WindowCenter"), attributes.numbers("WindowWidth")
    if not centres or not widths:
        return None
    if widths[0] < 1:
        attributes.warn(f"WindowWidth is {widths[0]:g}, not at least 1; the window is not used.")
        return None
    return centres[0], widths[0]


def _lossy(attributes: Attributes, syntax: str) -> bool | None:
    stated = _LOSSY_FLAGS.get(attributes.text("LossyImageCompression") or "")
    if not is_lossy(syntax):
        return stated
    if stated is False:
        attributes.warn("LossyImageCompression is 00, but the pixels are stored lossy.")
    return True
