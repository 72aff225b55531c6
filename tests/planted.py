"""Loops in which identifying strings are planted wherever a file has room for one."""

from pathlib import Path

import numpy as np
import pydicom
from PIL import Image, ImageDraw, ImageFont
from pydicom.dataset import Dataset
from pydicom.sequence import Sequence

from synthetic_dicom.cases import write_case

# Every one is unique and at least eight characters, so that chance does not make it.
NAME, GIVEN, NUMBER, PLACE = "Zwiebelturm", "Quendoline", "MRN-7741903", "Harbourside Infirmary"
PRIVATE, NESTED, OVERLAY, CURVE = "PRIVATE-kraken", "NESTED-walrus", "OVERLAY-otter", "CURVE-heron"
BIRTH, DAY, MOMENT = "19470923", "20190823", "141735.123"
PREAMBLE, TITLE, AFTER, COMMENT = "PREAMBLE-lynx", "AE_STOAT_TITLE", "AFTER-marten", "COMMENT-ibex"
UID = "1.2.826.0.1.3680043.8.498.77777777."
BURNED = "ZWIEBELTURM Q 7741903"
FILE = "Zwiebelturm_7741903"
STRINGS = (
    *(NAME, GIVEN, NUMBER, PLACE, PRIVATE, NESTED, OVERLAY, CURVE, BIRTH, DAY, MOMENT, PREAMBLE),
    *(TITLE, AFTER, COMMENT, UID, FILE, "7741903", "GANTRY-gecko", "SERIAL-8812", "ROOM-badger"),
)
TEXT_AT = (2, 4)  # row and column, above the regions of a synthetic echo screen


def planted_loop(
    folder: Path,
    case: str,
    *,
    frames: int = 2,
    encoding: str = "explicit",
    burned: bool = False,
    seed: int = 1,
) -> Path:
    """Write a synthetic loop with everything planted; its file name is planted too."""
    made = write_case(case, folder, frames=frames, encoding=encoding, seed=seed)
    dataset = pydicom.dcmread(made.path)
    if burned:
        burn(dataset)
    plant(dataset, seed=seed)
    path = folder / f"{FILE}_{case}_{seed}.dcm"
    dataset.save_as(path, enforce_file_format=True)
    made.path.unlink()
    return path


def glyphs() -> np.ndarray:
    """Return the burned-in text as a picture of true and false."""
    font = ImageFont.load_default(size=12)
    left, top, right, bottom = font.getbbox(BURNED)
    picture = Image.new("L", (int(right), int(bottom)), 0)
    ImageDraw.Draw(picture).text((0, 0), BURNED, font=font, fill=255)
    return np.asarray(picture)[int(top) :, int(left) :] > 127


def burn(dataset: Dataset) -> None:
    """Burn text into every frame of an uncompressed loop."""
    pixels = dataset.pixel_array.copy()
    shape = glyphs()
    row, column = TEXT_AT
    window = np.s_[:, row : row + shape.shape[0], column : column + shape.shape[1]]
    pixels[window][:, shape] = 255
    dataset.PixelData = pixels.tobytes()
    dataset.BurnedInAnnotation = "YES"


def plant(dataset: Dataset, *, seed: int = 1) -> None:
    """Plant strings in texts, private and nested attributes, overlays, UIDs and dates."""
    dataset.preamble = PREAMBLE.encode().ljust(128, b"\0")
    dataset.PatientName = f"{NAME}^{GIVEN}"
    dataset.PatientID = dataset.OtherPatientIDs = NUMBER
    dataset.PatientBirthDate, dataset.StudyDate, dataset.ContentDate = BIRTH, DAY, DAY
    dataset.StudyTime = dataset.ContentTime = MOMENT
    dataset.AcquisitionDateTime = f"{DAY}{MOMENT}"
    dataset.AccessionNumber, dataset.StudyID = "ACC7741903", "7741903"
    dataset.InstitutionName, dataset.StationName = PLACE, "ROOM-badger"
    dataset.ReferringPhysicianName = dataset.OperatorsName = f"{NAME}^{GIVEN}"
    dataset.StudyDescription = dataset.SeriesDescription = f"{NAME} of {PLACE}"
    dataset.ImageComments = COMMENT
    dataset.DeviceSerialNumber, dataset.GantryID = "SERIAL-8812", "GANTRY-gecko"
    dataset.Manufacturer = dataset.ManufacturerModelName = PLACE
    dataset.PixelSpacingCalibrationDescription = f"calibrated by {NAME}"
    dataset.WindowCenterWidthExplanation = NAME
    dataset.StudyInstanceUID, dataset.SeriesInstanceUID = f"{UID}{seed}.1", f"{UID}{seed}.2"
    dataset.SOPInstanceUID = f"{UID}{seed}.3"
    dataset.file_meta.MediaStorageSOPInstanceUID = dataset.SOPInstanceUID
    dataset.FrameOfReferenceUID = f"{UID}{seed}.4"
    # terms that are no terms, and a number that is a text
    dataset.ImageType = [*dataset.ImageType, NAME.upper()]
    dataset.BodyPartExamined = NAME.upper()
    _plant_private(dataset)
    _plant_nested(dataset, seed)
    _plant_planes(dataset)
    _plant_meta(dataset)


def _plant_private(dataset: Dataset) -> None:
    block = dataset.private_block(0x0009, PRIVATE, create=True)
    block.add_new(1, "LO", f"{PRIVATE} {NAME}")
    block.add_new(2, "OB", f"{PRIVATE} {NAME}".encode() + b"\0" * 2)
    inner = Dataset()
    inner.PatientName = NAME
    block.add_new(3, "SQ", Sequence([inner]))


def _plant_nested(dataset: Dataset, seed: int) -> None:
    request = Dataset()
    request.RequestedProcedureDescription = NESTED
    request.RequestedProcedureID = "7741903"
    dataset.RequestAttributesSequence = Sequence([request])
    reference = Dataset()
    reference.ReferencedSOPClassUID = dataset.SOPClassUID
    reference.ReferencedSOPInstanceUID = f"{UID}{seed}.5"
    reference.ImageComments = NESTED
    dataset.ReferencedImageSequence = Sequence([reference])
    device = Dataset()
    device.CodeValue, device.CodingSchemeDesignator = "19923001", "SCT"
    device.CodeMeaning, device.DeviceDescription = NESTED, f"{NESTED} {NAME}"
    device.DeviceDiameter, device.DeviceDiameterUnits = "6", "FR"
    strange = Dataset()
    strange.CodeValue, strange.CodingSchemeDesignator = NESTED, "99HARBOUR"
    strange.CodeMeaning, strange.DeviceLength = NESTED, "40"
    dataset.DeviceSequence = Sequence([device, strange])
    for region in dataset.get("SequenceOfUltrasoundRegions", ()):
        region.ImageComments = NESTED
        region.private_block(0x0011, PRIVATE, create=True).add_new(1, "LO", NESTED)


def _plant_planes(dataset: Dataset) -> None:
    dataset.add_new(0x60000010, "US", 8)
    dataset.add_new(0x60000011, "US", 16)
    dataset.add_new(0x60000040, "CS", "G")
    dataset.add_new(0x60000022, "LO", OVERLAY)
    dataset.add_new(0x60001500, "LO", f"{OVERLAY} {NAME}")
    dataset.add_new(0x60000050, "SS", [1, 1])
    dataset.add_new(0x60000100, "US", 1)
    dataset.add_new(0x60000102, "US", 0)
    dataset.add_new(0x60003000, "OW", OVERLAY.encode().ljust(16, b"\0"))
    dataset.add_new(0x50000022, "LO", CURVE)
    dataset.add_new(0x50003000, "OW", CURVE.encode().ljust(16, b"\0"))
    dataset.add_new(0xFFFCFFFC, "OB", AFTER.encode().ljust(16, b"\0"))


def _plant_meta(dataset: Dataset) -> None:
    dataset.file_meta.SourceApplicationEntityTitle = TITLE
    dataset.file_meta.PrivateInformationCreatorUID = f"{UID}9"
    dataset.file_meta.PrivateInformation = f"{PRIVATE}{NAME}".encode().ljust(32, b"\0")
