"""Headers: patient, study, timing, geometry, regions and the marks of de-identification."""

from __future__ import annotations

from pydicom.dataset import Dataset, FileMetaDataset
from pydicom.sequence import Sequence
from pydicom.uid import (
    ExplicitVRLittleEndian,
    MultiFrameGrayscaleByteSecondaryCaptureImageStorage,
    SecondaryCaptureImageStorage,
    UltrasoundMultiFrameImageStorage,
    XRayAngiographicImageStorage,
)
from pydicom.valuerep import DSfloat

from synthetic_dicom.case import Identity
from synthetic_dicom.ultrasound_view import Panel, Screen
from synthetic_dicom.xray_view import XraySetup

_FRAME_TIME = 0x00181063
_FRAME_TIME_VECTOR = 0x00181065
_REMOVED = (
    ("113100", "Basic Application Confidentiality Profile"),
    ("113101", "Clean Pixel Data Option"),
)


def decimal(value: float) -> DSfloat:
    """Return a decimal string of at most 16 characters."""
    return DSfloat(value, auto_format=True)


def _base(identity: Identity, sop_class: str, modality: str) -> Dataset:
    header = Dataset()
    header.file_meta = FileMetaDataset()
    header.file_meta.TransferSyntaxUID = ExplicitVRLittleEndian
    header.SOPClassUID = sop_class
    header.SOPInstanceUID = identity.uid("instance")
    header.StudyInstanceUID = identity.uid("study")
    header.SeriesInstanceUID = identity.uid("series")
    header.Modality = modality
    header.SeriesNumber = header.InstanceNumber = 1
    header.PatientName = "SYNTHETIC^LOOP"
    header.PatientID = f"SYN-{identity.seed:04d}"
    header.PatientBirthDate = header.PatientSex = ""
    header.StudyDate = header.StudyTime = header.AccessionNumber = header.StudyID = ""
    header.ReferringPhysicianName = ""
    header.ContentDate, header.ContentTime = "20000101", "000000"
    header.Manufacturer = "SYNTHETIC"
    # An unpaired part of the body: otherwise laterality would be required.
    header.BodyPartExamined = "HEART"
    header.PatientOrientation = ""
    header.BurnedInAnnotation = "NO"
    header.LossyImageCompression = "00"
    header.PatientIdentityRemoved = "YES"
    header.DeidentificationMethodCodeSequence = Sequence(
        [_code(value, meaning) for value, meaning in _REMOVED]
    )
    header.LongitudinalTemporalInformationModified = "REMOVED"
    return header


def _code(value: str, meaning: str) -> Dataset:
    item = Dataset()
    item.CodeValue, item.CodingSchemeDesignator, item.CodeMeaning = value, "DCM", meaning
    return item


def xray_header(
    identity: Identity, setup: XraySetup, *, frame_time_ms: float, with_geometry: bool
) -> Dataset:
    """Return the header of an X-ray angiography loop without pixels.

    Parameters
    ----------
    identity : Identity
        Whose file it is.
    setup : XraySetup
        The view.
    frame_time_ms : float
        Time between frames.
    with_geometry : bool
        Write detector spacing and distances, or leave them out.
    """
    header = _base(identity, XRayAngiographicImageStorage, "XA")
    header.ImageType = ["ORIGINAL", "PRIMARY", "SINGLE PLANE"]
    header.PixelIntensityRelationship = "LIN"
    header.KVP, header.RadiationSetting = 80, "GR"
    header.XRayTubeCurrent, header.ExposureTime, header.Exposure = 500, 8, 4
    header.ContrastBolusAgent = "SYNTHETIC"
    header.PositionerMotion = "STATIC"
    header.PositionerPrimaryAngle = decimal(setup.primary_deg)
    header.PositionerSecondaryAngle = decimal(setup.secondary_deg)
    if with_geometry:
        header.ImagerPixelSpacing = [decimal(value) for value in setup.spacing_mm]
        header.DistanceSourceToDetector = decimal(setup.sid_mm)
        header.DistanceSourceToPatient = decimal(setup.sod_mm)
        header.EstimatedRadiographicMagnificationFactor = decimal(setup.sid_mm / setup.sod_mm)
    rate = round(1000.0 / frame_time_ms)
    header.FrameIncrementPointer = _FRAME_TIME
    header.FrameTime = decimal(frame_time_ms)
    header.CineRate = header.RecommendedDisplayFrameRate = rate
    return header


def ultrasound_header(
    identity: Identity,
    screen: Screen,
    *,
    frame_time_ms: float,
    r_waves_ms: tuple[float, ...],
) -> Dataset:
    """Return the header of an ultrasound loop without pixels.

    Parameters
    ----------
    identity : Identity
        Whose file it is.
    screen : Screen
        Layout and the regions to declare.
    frame_time_ms : float
        Time between frames; written as a vector of increments in colour, once in grey.
    r_waves_ms : tuple of float
        R waves within the loop.
    """
    header = _base(identity, UltrasoundMultiFrameImageStorage, "US")
    header.ImageType = ["ORIGINAL", "PRIMARY", "TEE", "0001"]
    header.TransducerType = "SECTOR_PHASED"
    header.UltrasoundColorDataPresent = 0
    if screen.colour:
        header.FrameIncrementPointer = _FRAME_TIME_VECTOR
        increments_ms = [0.0, *[frame_time_ms] * (identity.frames - 1)]
        header.FrameTimeVector = [decimal(value) for value in increments_ms]
    else:
        header.FrameIncrementPointer = _FRAME_TIME
        header.FrameTime = decimal(frame_time_ms)
    header.RecommendedDisplayFrameRate = round(1000.0 / frame_time_ms)
    header.HeartRate = 67
    if r_waves_ms:
        header.RWaveTimeVector = list(r_waves_ms)
    if screen.declares_regions:
        regions = [_sector_region(panel) for panel in screen.panels]
        header.SequenceOfUltrasoundRegions = Sequence([*regions, _trace_region(screen)])
    return header


def _region(box: tuple[int, int, int, int], *, spatial_format: int, data_type: int) -> Dataset:
    item = Dataset()
    item.RegionSpatialFormat, item.RegionDataType = spatial_format, data_type
    item.RegionFlags = 2 if spatial_format == 1 else 3
    item.RegionLocationMinX0, item.RegionLocationMinY0 = box[0], box[1]
    item.RegionLocationMaxX1, item.RegionLocationMaxY1 = box[2], box[3]
    return item


def _sector_region(panel: Panel) -> Dataset:
    box = panel.declared_region
    item = _region(box, spatial_format=1, data_type=1)
    item.PhysicalUnitsXDirection = item.PhysicalUnitsYDirection = 3
    item.PhysicalDeltaX, item.PhysicalDeltaY = panel.declared_delta_cm
    item.ReferencePixelX0 = round(panel.apex_px[1]) - panel.region[0]
    item.ReferencePixelY0 = round(panel.apex_px[0]) - panel.region[1]
    item.ReferencePixelPhysicalValueX = item.ReferencePixelPhysicalValueY = 0.0
    return item


def _trace_region(screen: Screen) -> Dataset:
    item = _region(screen.trace_region, spatial_format=4, data_type=0x0A)
    item.PhysicalUnitsXDirection, item.PhysicalUnitsYDirection = 4, 0
    item.PhysicalDeltaX, item.PhysicalDeltaY = screen.trace_s_per_px, 1.0
    item.ReferencePixelX0 = item.ReferencePixelY0 = 0
    item.ReferencePixelPhysicalValueX = item.ReferencePixelPhysicalValueY = 0.0
    return item


def capture_header(identity: Identity, *, frame_time_ms: float | None) -> Dataset:
    """Return the header of a screen capture; one frame where no frame time is given."""
    several = frame_time_ms is not None
    sop_class = (
        MultiFrameGrayscaleByteSecondaryCaptureImageStorage
        if several
        else SecondaryCaptureImageStorage
    )
    header = _base(identity, sop_class, "OT")
    header.ImageType = ["DERIVED", "SECONDARY"]
    header.ConversionType = "WSD"
    if frame_time_ms is not None:
        header.FrameIncrementPointer = _FRAME_TIME
        header.FrameTime = decimal(frame_time_ms)
        header.PresentationLUTShape = "IDENTITY"
        header.RescaleIntercept, header.RescaleSlope, header.RescaleType = 0, 1, "US"
    return header
