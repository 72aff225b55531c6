"""Write tiny DICOM files, right and wrong, with pydicom alone."""

import warnings
from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from pydicom import dcmwrite
from pydicom.datadict import dictionary_VR, tag_for_keyword
from pydicom.dataelem import RawDataElement
from pydicom.dataset import Dataset, FileMetaDataset
from pydicom.encaps import encapsulate
from pydicom.tag import Tag
from pydicom.uid import (
    DeflatedExplicitVRLittleEndian,
    ExplicitVRBigEndian,
    ExplicitVRLittleEndian,
    ImplicitVRLittleEndian,
)

XA = "1.2.840.10008.5.1.4.1.1.12.1"
US_MULTI = "1.2.840.10008.5.1.4.1.1.3.1"
SOP_UID = "1.2.826.0.1.3680043.10.511.1"
NATIVE = (
    ExplicitVRLittleEndian,
    ImplicitVRLittleEndian,
    ExplicitVRBigEndian,
    DeflatedExplicitVRLittleEndian,
)

WriteLoop = Callable[..., Path]


def set_attribute(dataset: Dataset, keyword: str, value: Any) -> None:
    """Set an attribute; bytes go in raw, past every check, ``None`` removes it."""
    if value is None:
        if keyword in dataset:
            delattr(dataset, keyword)
    elif isinstance(value, bytes):
        tag = Tag(tag_for_keyword(keyword))
        vr = dictionary_VR(tag)
        padded = value + b" " * (len(value) % 2)
        dataset[tag] = RawDataElement(tag, vr, len(padded), padded, 0, False, True)
    else:
        setattr(dataset, keyword, value)


def grey_dataset(pixels: np.ndarray, *, bits_stored: int | None = None) -> Dataset:
    """Image attributes for (frames, rows, columns) grey pixels, without the pixels."""
    dataset = Dataset()
    dataset.SOPInstanceUID = SOP_UID
    dataset.SOPClassUID = XA
    dataset.StudyInstanceUID = f"{SOP_UID}.2"
    dataset.SeriesInstanceUID = f"{SOP_UID}.3"
    dataset.PatientName = "HIDDEN^NAME"
    dataset.PatientID = "HIDDENID"
    dataset.Modality = "XA"
    dataset.NumberOfFrames = pixels.shape[0]
    dataset.Rows, dataset.Columns = pixels.shape[1:3]
    dataset.SamplesPerPixel = 1
    dataset.PhotometricInterpretation = "MONOCHROME2"
    dataset.BitsAllocated = pixels.dtype.itemsize * 8
    dataset.BitsStored = bits_stored or dataset.BitsAllocated
    dataset.HighBit = dataset.BitsStored - 1
    dataset.PixelRepresentation = int(pixels.dtype.kind == "i")
    return dataset


@pytest.fixture
def write_loop(tmp_path: Path) -> WriteLoop:
    """Give a function that writes a loop and returns its path.

    Options: `pixels` (frames, rows, columns[, 3]), `syntax`, `streams` (one compressed stream per
    frame), `value` (Pixel Data as bytes, instead of either), `name`, and any attribute by keyword.
    """

    def write(
        pixels: np.ndarray | None = None,
        *,
        syntax: str = ExplicitVRLittleEndian,
        streams: list[bytes] | None = None,
        value: bytes | None = None,
        bits_stored: int | None = None,
        name: str = "loop.dcm",
        **attributes: Any,
    ) -> Path:
        if pixels is None:
            pixels = np.arange(3 * 4 * 5, dtype=np.uint16).reshape(3, 4, 5)
        dataset = grey_dataset(pixels, bits_stored=bits_stored)
        if pixels.ndim == 4:
            dataset.SamplesPerPixel = 3
            dataset.PhotometricInterpretation = "RGB"
            dataset.PlanarConfiguration = 0
        for keyword, wanted in attributes.items():
            set_attribute(dataset, keyword, wanted)
        order = ">" if syntax == ExplicitVRBigEndian else "<"
        native = pixels.astype(pixels.dtype.newbyteorder(order)).tobytes()
        data = value if value is not None else encapsulate(streams) if streams else native
        if attributes.get("PixelData", b"") is not None:
            words = pixels.dtype.itemsize > 1 and not streams
            dataset.add_new("PixelData", "OW" if words else "OB", data + b"\0" * (len(data) % 2))
            dataset["PixelData"].is_undefined_length = streams is not None
        return _save(dataset, tmp_path / name, syntax)

    return write


def _save(dataset: Dataset, path: Path, syntax: str) -> Path:
    meta = FileMetaDataset()
    meta.TransferSyntaxUID = syntax
    meta.MediaStorageSOPClassUID = dataset.get("SOPClassUID", XA)
    meta.MediaStorageSOPInstanceUID = dataset.get("SOPInstanceUID") or SOP_UID
    dataset.file_meta = meta
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")  # faulty values are written on purpose
        dcmwrite(
            path,
            dataset,
            implicit_vr=syntax == ImplicitVRLittleEndian,
            little_endian=syntax != ExplicitVRBigEndian,
            enforce_file_format=True,
        )
    return path
