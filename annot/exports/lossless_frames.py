"""Frames stored without loss: as they are, or as JPEG-LS (ISO/IEC 14495-1), which is smaller."""

from collections.abc import Iterable
from typing import Any, Literal

import numpy as np
import numpy.typing as npt
from pydicom.dataset import Dataset
from pydicom.encaps import encapsulate
from pydicom.uid import ExplicitVRLittleEndian, JPEGLSLossless

Encoding = Literal["jpeg-ls", "explicit"]
ENCODINGS: tuple[Encoding, ...] = ("jpeg-ls", "explicit")


def put_frames(dataset: Dataset, frames: Iterable[npt.NDArray[Any]], *, encoding: Encoding) -> None:
    """Put frames into a dataset whose pixel attributes are set, and name the transfer syntax.

    Parameters
    ----------
    dataset : Dataset
        With its file meta information; changed in place.
    frames : iterable of ndarray
        (rows, columns) of stored values or (rows, columns, 3) of 8-bit RGB, one at a time.
    encoding : str
        One of `ENCODINGS`. Samples of 32 bits are stored as they are, for JPEG-LS has 16 at most.
    """
    compressed = encoding == "jpeg-ls" and dataset.BitsAllocated <= 16
    if compressed:
        dataset.PixelData = encapsulate([_jpeg_ls(frame) for frame in frames])
    else:
        content = b"".join(_little_endian(frame) for frame in frames)
        dataset.PixelData = content + b"\0" * (len(content) % 2)
    element = dataset["PixelData"]
    element.VR = "OB" if compressed or dataset.BitsAllocated == 8 else "OW"
    element.is_undefined_length = compressed
    dataset.file_meta.TransferSyntaxUID = JPEGLSLossless if compressed else ExplicitVRLittleEndian


def _jpeg_ls(frame: npt.NDArray[Any]) -> bytes:
    import imagecodecs

    # JPEG-LS knows no sign: the bits are the same
    unsigned = frame.view(frame.dtype.str.replace("i", "u")) if frame.dtype.kind == "i" else frame
    return bytes(imagecodecs.jpegls_encode(np.ascontiguousarray(unsigned)))


def _little_endian(frame: npt.NDArray[Any]) -> bytes:
    return np.ascontiguousarray(frame, dtype=frame.dtype.newbyteorder("<")).tobytes()
