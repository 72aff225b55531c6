"""The blinded copy of a loop: pixels and what measuring needs, nothing that identifies.

The header is built anew from an allow-list (`deidentification`), the picture is what the loop's
frames decode to with everything outside the mask black, stored without loss. The copy is then
opened again: it must give the same frames and the same header facts as the source, and hold no
identifier of it.
"""

import hashlib
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
import numpy.typing as npt
from pydicom.dataset import Dataset, FileMetaDataset
from pydicom.sequence import Sequence as Items

from annot.errors import InputError
from annot.exports.blinded_check import frame_digest, refuse_leak, refuse_unlike
from annot.exports.deidentification import BlindIdentity, cleaned
from annot.exports.deidentification_table import DUMMIES, MOMENTS, OPTIONS
from annot.exports.lossless_frames import Encoding, put_frames
from annot.loops import Loop, LoopHeader, open_loop
from annot.loops.dicom_file import parse_file
from annot.loops.quiet import captured_warnings
from annot.reads.blinding import PictureMask, masked

__all__ = ["BlindIdentity", "BlindedLoop", "Blinding", "write_blinded"]

_ENHANCED = ("1.2.840.10008.5.1.4.1.1.12.1.1", "1.2.840.10008.5.1.4.1.1.12.2.1")


@dataclass(frozen=True, slots=True, kw_only=True)
class BlindedLoop:
    """A blinded copy as it was written.

    Attributes
    ----------
    sop_instance_uid : str
        Its own, new one.
    sha256 : str
        Of the file.
    options : tuple of str
        Codes of the profile and its options (PS3.16 CID 7050) that were applied.
    """

    sop_instance_uid: str
    sha256: str
    options: tuple[str, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Blinding:
    """How a copy is made.

    Attributes
    ----------
    identity : BlindIdentity
    mask : PictureMask
    looked : bool
        Whether a person looked at the masked picture and found nothing that identifies.
    encoding : str
    padding : int
        Zero bytes behind the pixels, so that two showings of one loop differ in size.
    """

    identity: BlindIdentity
    mask: PictureMask
    looked: bool
    encoding: Encoding = "jpeg-ls"
    padding: int = 0


def write_blinded(source: Path, target: Path, *, blinding: Blinding) -> BlindedLoop:
    """Write the blinded copy of a loop and check it against the loop.

    Parameters
    ----------
    source : Path
        One DICOM file.
    target : Path
        Written; a file that stands there is replaced.
    blinding : Blinding

    Raises
    ------
    LoopError
        If the source does not open or a frame cannot be decoded.
    InputError
        If the mask does not fit, the target cannot be written, or the copy fails its check; then
        nothing stays at the target.
    """
    loop = open_loop(source)
    kept = blinding.mask.visible(loop.header.rows, loop.header.columns)
    digests: list[str] = []
    dataset = _dataset(source, loop, blinding)
    frames = _noted(_masked_frames(loop, kept), digests)
    put_frames(dataset, frames, encoding=blinding.encoding)
    if blinding.padding:
        dataset.DataSetTrailingPadding = b"\0" * (blinding.padding // 2 * 2)
    try:
        with captured_warnings():
            dataset.save_as(target, enforce_file_format=True)
        refuse_unlike(loop, target, digests)
        refuse_leak(source, target)
        content = target.read_bytes()
    except OSError as fault:
        target.unlink(missing_ok=True)
        raise InputError(f"{target} cannot be written: {fault.strerror}.") from None
    except Exception:
        target.unlink(missing_ok=True)
        raise
    return BlindedLoop(
        sop_instance_uid=str(dataset.SOPInstanceUID),
        sha256=hashlib.sha256(content).hexdigest(),
        options=tuple(one.CodeValue for one in dataset.DeidentificationMethodCodeSequence),
    )


def _masked_frames(loop: Loop, kept: npt.NDArray[np.bool_]) -> Iterator[npt.NDArray[Any]]:
    for number in range(loop.frames):
        yield masked(loop.frame(number), kept)


def _noted(frames: Iterable[npt.NDArray[Any]], digests: list[str]) -> Iterator[npt.NDArray[Any]]:
    for frame in frames:
        digests.append(frame_digest(frame))
        yield frame


def _dataset(source: Path, loop: Loop, blinding: Blinding) -> Dataset:
    dataset = cleaned(parse_file(source).dataset, blinding.identity)
    header = loop.header
    for keyword, stored in (
        ("SOPInstanceUID", header.sop_instance_uid),
        ("StudyInstanceUID", header.study_instance_uid),
        ("SeriesInstanceUID", header.series_instance_uid),
    ):
        setattr(dataset, keyword, blinding.identity.uid_of(stored or keyword))
    dataset.SOPClassUID = dataset.get("SOPClassUID") or header.sop_class_uid
    _put_pixel_attributes(dataset, loop)
    _put_marks(dataset, blinding, header)
    if dataset.SOPClassUID in _ENHANCED:
        for keyword, value in DUMMIES.items():
            setattr(dataset, keyword, value)
    meta = FileMetaDataset()
    meta.MediaStorageSOPClassUID = dataset.SOPClassUID
    meta.MediaStorageSOPInstanceUID = dataset.SOPInstanceUID
    dataset.file_meta = meta
    return dataset


def _put_pixel_attributes(dataset: Dataset, loop: Loop) -> None:
    """Describe what the frames decode to: stored grey values, or 8-bit RGB."""
    header = loop.header
    colour = header.colour
    dataset.Rows, dataset.Columns = header.rows, header.columns
    if "FrameIncrementPointer" in dataset or header.frames > 1:
        dataset.NumberOfFrames = header.frames
    dataset.SamplesPerPixel = 3 if colour else 1
    dataset.PhotometricInterpretation = "RGB" if colour else header.photometric
    if colour:
        dataset.PlanarConfiguration = 0
    dataset.BitsAllocated = 8 if colour else header.bits_allocated
    dataset.BitsStored = 8 if colour else header.bits_stored
    dataset.HighBit = dataset.BitsStored - 1
    dataset.PixelRepresentation = 0 if colour else header.pixel_representation
    if header.lossy:
        dataset.LossyImageCompression = "01"  # never taken back (PS3.3 C.7.6.1.1.5)


def _put_marks(dataset: Dataset, blinding: Blinding, header: LoopHeader) -> None:
    """State what was done, as PS3.15 E.1.1 and E.3.1 ask."""
    moved = any(element.keyword in MOMENTS for element in dataset.iterall())
    options = ["113100"]
    if blinding.looked:
        options.append("113101")
    if moved:
        options.append("113107")
    dataset.PatientIdentityRemoved = "YES"
    dataset.DeidentificationMethodCodeSequence = Items([_code(one) for one in options])
    dataset.LongitudinalTemporalInformationModified = "MODIFIED" if moved else "REMOVED"
    if blinding.looked or header.burned_in is False:
        dataset.BurnedInAnnotation = "NO"


def _code(value: str) -> Dataset:
    item = Dataset()
    item.CodeValue, item.CodingSchemeDesignator = value, "DCM"
    item.CodeMeaning = OPTIONS[value]
    return item
