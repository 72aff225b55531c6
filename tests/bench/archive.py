"""An archive of many small files: one X-ray and one echo header, values varied byte by byte."""

import io
from pathlib import Path

from pydicom.dataset import Dataset

from synthetic_dicom.case import Identity
from synthetic_dicom.headers import ultrasound_header, xray_header
from synthetic_dicom.ultrasound_layouts import one_plane
from synthetic_dicom.xray_view import XraySetup

PER_FOLDER = 500
MACHINES = 7


def _bytes_of(header: Dataset, serial: str) -> bytes:
    header.Rows = header.Columns = 8
    for region in header.get("SequenceOfUltrasoundRegions", []):
        region.RegionLocationMinX0 = region.RegionLocationMinY0 = 0
        region.RegionLocationMaxX1 = region.RegionLocationMaxY1 = 7
    header.SamplesPerPixel, header.PhotometricInterpretation = 1, "MONOCHROME2"
    header.BitsAllocated = header.BitsStored = 8
    header.HighBit, header.PixelRepresentation, header.NumberOfFrames = 7, 0, 30
    header.DeviceSerialNumber, header.SoftwareVersions = serial, "V-000"
    header.AcquisitionDate = "20240101"
    header.PixelData = bytes(8 * 8 * 30)
    stream = io.BytesIO()
    header.save_as(stream, enforce_file_format=True)
    return stream.getvalue()


def make_archive(folder: Path, files: int) -> None:
    """Write `files` files; every 50th states a distance of source and patient beyond the detector.

    Machines change their software from V-000 to V-001 in the middle of the archive's year.
    """
    identity = Identity(case="many", seed=1, frames=30, encoding="native")
    templates = (
        _bytes_of(
            xray_header(identity, XraySetup(), frame_time_ms=66.667, with_geometry=True), "S000"
        ),
        _bytes_of(
            ultrasound_header(identity, one_plane(45.0), frame_time_ms=33.3, r_waves_ms=()), "S000"
        ),
    )
    uid = identity.uid("instance").encode()
    for number in range(files):
        text = templates[number % 2]
        # the UID's last digits stand in the file meta information too
        text = text.replace(uid, uid[:-6] + b"%06d" % number)
        month = 1 + 12 * number // files
        text = text.replace(b"20240101", b"2024%02d01" % month)
        text = text.replace(b"S000", b"S%03d" % (number % MACHINES))
        if month > 6:
            text = text.replace(b"V-000", b"V-001")
        if number % 50 == 0:
            text = text.replace(b"750.0", b"975.0").replace(b"1040.0", b"940.00")
        place = folder / f"{number // PER_FOLDER:03d}"
        place.mkdir(exist_ok=True)
        (place / f"{number:06d}.dcm").write_bytes(text)
