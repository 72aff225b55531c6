"""Which attributes a blinded copy may have, and in what form: an allow-list.

DICOM PS3.15 Table E.1-1 lists what the Basic Application Level Confidentiality Profile takes out
or replaces, and lets everything else stay. Here it is the other way round, which is stricter: an
attribute that this table does not name is removed, and of those it names no free text stays. What
is kept is a number, a term of a closed list, a code of a closed list, a table of numbers, a moment
moved to an invented day, or a UID made anew. So nothing that somebody typed can pass.

Actions as in PS3.15: K keep, U replace the UID, Z write empty, D write an invented value, X remove
(everything else). Kept by option: dates moved to an invented day (113107), where frames are timed
by nothing else.
"""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Literal

Action = Literal["K", "U", "Z", "D"]
Form = Literal["number", "term", "sequence", "moment", "table", "class", "uid", "text"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Rule:
    """What becomes of one attribute; `terms` are the only values a term may have."""

    action: Action
    form: Form
    terms: frozenset[str] = frozenset()


# geometry, timing and display that measuring and looking need
_TIMING = """FrameIncrementPointer FrameTime FrameTimeVector FrameDelay CineRate HeartRate
RecommendedDisplayFrameRate StartTrim StopTrim PreferredPlaybackSequencing RWaveTimeVector
RWavePointer ActualFrameDuration"""
_XRAY = """ImagerPixelSpacing PixelSpacing
DistanceSourceToDetector DistanceSourceToPatient DistanceSourceToIsocenter
EstimatedRadiographicMagnificationFactor PositionerPrimaryAngle PositionerSecondaryAngle
PositionerPrimaryAngleIncrement PositionerSecondaryAngleIncrement DetectorPrimaryAngle
DetectorSecondaryAngle TableVerticalIncrement TableLongitudinalIncrement TableLateralIncrement
TableHeight TableTopVerticalPosition TableTopLongitudinalPosition TableTopLateralPosition
TableXPositionToIsocenter TableYPositionToIsocenter TableZPositionToIsocenter
PositionerIsocenterPrimaryAngle PositionerIsocenterSecondaryAngle
PositionerIsocenterDetectorRotationAngle BeamAngle ObjectPixelSpacingInCenterOfBeam
DistanceObjectToTableTop FieldOfViewDimensions FieldOfViewDimensionsInFloat FieldOfViewOrigin
FieldOfViewRotation IntensifierSize ColumnAngulation GeometricMaximumDistortion
PixelIntensityRelationshipSign DeviceDiameter DeviceLength InterMarkerDistance"""
_DISPLAY = """WindowCenter WindowWidth RescaleSlope RescaleIntercept LUTDescriptor
ShutterLeftVerticalEdge ShutterRightVerticalEdge ShutterUpperHorizontalEdge
ShutterLowerHorizontalEdge CenterOfCircularShutter RadiusOfCircularShutter
VerticesOfThePolygonalShutter ShutterPresentationValue ApplicableFrameRange MaskFrameNumbers
ContrastFrameAveraging MaskSubPixelShift TIDOffset LossyImageCompressionRatio"""
_ULTRASOUND = """UltrasoundColorDataPresent RegionSpatialFormat RegionDataType RegionFlags
RegionLocationMinX0 RegionLocationMinY0 RegionLocationMaxX1 RegionLocationMaxY1
PhysicalUnitsXDirection PhysicalUnitsYDirection PhysicalDeltaX PhysicalDeltaY ReferencePixelX0
ReferencePixelY0 ReferencePixelPhysicalValueX ReferencePixelPhysicalValueY TransducerFrequency
PulseRepetitionFrequency DopplerCorrectionAngle SteeringAngle"""
_NUMBERS = " ".join((_TIMING, _XRAY, _DISPLAY, _ULTRASOUND))

_SEQUENCES = """SequenceOfUltrasoundRegions DeviceSequence MaskSubtractionSequence
ModalityLUTSequence VOILUTSequence ReferencedImageSequence SharedFunctionalGroupsSequence
PerFrameFunctionalGroupsSequence FrameContentSequence PixelMeasuresSequence FrameVOILUTSequence
PixelValueTransformationSequence FieldOfViewSequence XRayGeometrySequence
FramePixelDataPropertiesSequence PositionerPositionSequence TablePositionSequence
IsocenterReferenceSystemSequence ProjectionPixelCalibrationSequence CalibrationSequence
FrameDetectorParametersSequence FramePixelShiftSequence"""

_MOTION = ("STATIC", "DYNAMIC")
_TERMS: Mapping[str, tuple[str, ...]] = {
    "Modality": ("XA", "RF", "US", "OT"),
    # PS3.3 C.7.6.1.1.2, C.8.7.1.1.1 and C.8.5.6.1.1 (the last from memory)
    "ImageType": (
        *("ORIGINAL", "DERIVED", "PRIMARY", "SECONDARY", "SINGLE PLANE", "BIPLANE A", "BIPLANE B"),
        *("TEE", "TRANSESOPHAGEAL", "ADULT ECHO", "INTRACARDIAC", "EPICARDIAL", "ULTRASOUND"),
        *("0001", "0002", "0004", "0008", "0010", "0011", "0020", "0040", "0100", "0200"),
    ),
    "BodyPartExamined": ("HEART", "CHEST"),
    "ConversionType": ("DV", "DI", "DF", "WSD", "SD", "SI", "DRW", "SYN"),
    "PixelIntensityRelationship": ("LIN", "LOG", "DISP", "OTHER"),
    "PixelSpacingCalibrationType": ("GEOMETRY", "FIDUCIAL"),
    "CalibrationImage": ("YES", "NO"),
    "PositionerMotion": _MOTION,
    "TableMotion": _MOTION,
    "RadiationSetting": ("SC", "GR"),
    "FieldOfViewShape": ("ROUND", "RECTANGLE", "HEXAGONAL"),
    "GeometricalProperties": ("UNIFORM", "NON_UNIFORM"),
    "DeviceDiameterUnits": ("FR", "GA", "IN", "MM"),
    "RecommendedViewingMode": ("SUB", "NAT"),
    "MaskOperation": ("NONE", "AVG_SUB", "TID", "REV_TID"),
    "ShutterShape": ("RECTANGULAR", "CIRCULAR", "POLYGONAL"),
    "VOILUTFunction": ("LINEAR", "LINEAR_EXACT", "SIGMOID"),
    "PresentationLUTShape": ("IDENTITY", "INVERSE"),
    "RescaleType": ("US", "OD", "HU"),
    "ModalityLUTType": ("US", "OD", "HU"),
    "TransducerType": (
        *("SECTOR_PHASED", "SECTOR_MECH", "SECTOR_ANNULAR", "LINEAR", "CURVED LINEAR"),
        *("SINGLE CRYSTAL", "SPLIT XTAL CWD", "IV_PHASED", "IV_ROT XTAL", "IV_ROT MIRROR"),
        *("ENDOCAV_PA", "ENDOCAV_MECH", "ENDOCAV_CLA", "ENDOCAV_AA", "ENDOCAV_LINEAR"),
        "VECTOR_PHASED",
    ),
    "LossyImageCompression": ("00", "01"),
    "LossyImageCompressionMethod": (
        *("ISO_10918_1", "ISO_14495_1", "ISO_15444_1", "ISO_15444_15", "ISO_13818_2"),
        *("ISO_14496_10", "ISO_23008_2"),
    ),
}
_EMPTY = """StudyDate StudyTime ContentDate ContentTime AccessionNumber ReferringPhysicianName
Manufacturer PatientBirthDate PatientSex StudyID PatientOrientation ContrastBolusAgent
KVP XRayTubeCurrent ExposureTime Exposure"""

TABLE: Mapping[str, Rule] = {
    **dict.fromkeys(_NUMBERS.split(), Rule(action="K", form="number")),
    **dict.fromkeys(_SEQUENCES.split(), Rule(action="K", form="sequence")),
    **{
        name: Rule(action="K", form="term", terms=frozenset(terms))
        for name, terms in _TERMS.items()
    },
    "LUTData": Rule(action="K", form="table"),
    "SOPClassUID": Rule(action="K", form="class"),
    "ReferencedSOPClassUID": Rule(action="K", form="class"),
    "FrameAcquisitionDateTime": Rule(action="D", form="moment"),
    "FrameReferenceDateTime": Rule(action="D", form="moment"),
    **dict.fromkeys(
        ("SOPInstanceUID", "StudyInstanceUID", "SeriesInstanceUID", "ReferencedSOPInstanceUID"),
        Rule(action="U", form="uid"),
    ),
    **dict.fromkeys(("PatientName", "PatientID"), Rule(action="D", form="text")),
    **dict.fromkeys(_EMPTY.split(), Rule(action="Z", form="text")),
}

MOMENTS = frozenset(name for name, rule in TABLE.items() if rule.form == "moment")

# Kinds of reference objects (PS3.16 CID 8 and CID 3451), the only codes that are kept; the last
# is the retired code of the same catheter, from memory.
DEVICE_CODES: Mapping[tuple[str, str], str] = {
    ("122485", "DCM"): "Sphere",
    ("19923001", "SCT"): "Catheter",
    ("102304005", "SCT"): "Measuring ruler",
    ("A-26800", "SRT"): "Catheter",
}
# A device of any other kind keeps its sizes, under a code that says no more than that it is one.
OTHER_DEVICE = ("260787004", "SCT")
# What the enhanced objects need a value for, where the classic ones may have none.
DUMMIES: Mapping[str, str] = {
    "Manufacturer": "REMOVED",
    "ManufacturerModelName": "REMOVED",
    "DeviceSerialNumber": "REMOVED",
    "SoftwareVersions": "REMOVED",
    "AcquisitionDateTime": "20000101000000",
    "ContentDate": "20000101",
    "ContentTime": "000000",
}
# PS3.16 CID 7050
OPTIONS: Mapping[str, str] = {
    "113100": "Basic Application Confidentiality Profile",
    "113101": "Clean Pixel Data Option",
    "113107": "Retain Longitudinal Temporal Information Modified Dates Option",
}
