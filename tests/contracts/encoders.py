"""Compress single frames for the tests, by other libraries than the decoder's where there are any.

RLE: pydicom. JPEG baseline: Pillow. JPEG lossless (.70): gdcm. JPEG-LS: CharLS through pyjpegls.
JPEG 2000: OpenJPEG through pylibjpeg-openjpeg. Nothing else installed writes 12-bit JPEG, other
predictors of JPEG lossless (.57) or HTJ2K, so these come from imagecodecs, the decoder's own
package; what it reads is compared with the frame, with gdcm, OpenJPEG or the plain decoder here.
"""

import io
from pathlib import Path
from typing import Any

import imagecodecs
import numpy as np
from PIL import Image
from pydicom.pixels import get_encoder


def _depth(frame: np.ndarray) -> int:
    return 8 if frame.dtype == np.uint8 else 12


def by_pydicom(frame: np.ndarray, syntax: str, **options: Any) -> bytes:
    """Encode with the encoder that pydicom has for the syntax."""
    colour = frame.ndim == 3
    plugin = options.pop("encoding_plugin", "")
    return get_encoder(syntax).encode(
        np.ascontiguousarray(frame).tobytes(),
        rows=frame.shape[0],
        columns=frame.shape[1],
        samples_per_pixel=3 if colour else 1,
        bits_allocated=frame.dtype.itemsize * 8,
        bits_stored=8 if frame.dtype.itemsize == 1 else options.pop("bits_stored", 12),
        pixel_representation=int(frame.dtype.kind == "i"),
        photometric_interpretation=options.pop("photometric", "RGB" if colour else "MONOCHROME2"),
        number_of_frames=1,
        planar_configuration=0,
        encoding_plugin=plugin,
        **options,
    )


def baseline(frame: np.ndarray, **options: Any) -> bytes:
    """JPEG baseline by Pillow; `subsampling` 0 is 4:4:4, 1 is 4:2:2."""
    stream = io.BytesIO()
    Image.fromarray(frame).save(stream, "JPEG", **{"quality": 92, "subsampling": 1, **options})
    return stream.getvalue()


def without_marks(stream: bytes) -> bytes:
    """Drop the JFIF and Adobe segments, so that only the header tells the colour."""
    kept, at = bytearray(stream[:2]), 2
    while stream[at + 1] != 0xDA:
        end = at + 2 + int.from_bytes(stream[at + 2 : at + 4], "big")
        if stream[at + 1] not in (0xE0, 0xEE):
            kept += stream[at:end]
        at = end
    return bytes(kept) + stream[at:]


def extended_12(frame: np.ndarray) -> bytes:
    """JPEG extended with 12 bits by imagecodecs."""
    return imagecodecs.jpeg8_encode(frame, level=95, bitspersample=12)


def lossless(frame: np.ndarray, *, predictor: int) -> bytes:
    """JPEG lossless with any predictor by imagecodecs."""
    space = {"colorspace": "RGB", "outcolorspace": "RGB"} if frame.ndim == 3 else {}
    return imagecodecs.jpeg8_encode(
        frame.view(f"u{frame.dtype.itemsize}") & ((1 << _depth(frame)) - 1),
        lossless=True,
        predictor=predictor,
        bitspersample=_depth(frame),
        **space,
    )


def htj2k(frame: np.ndarray, *, reversible: bool) -> bytes:
    """HTJ2K by imagecodecs (OpenJPH)."""
    return imagecodecs.htj2k_encode(frame, reversible=reversible)


def transcode_by_gdcm(source: Path, target: Path) -> None:
    """Write a file again as JPEG lossless, first-order prediction, by gdcm."""
    import gdcm

    reader = gdcm.ImageReader()
    reader.SetFileName(str(source))
    assert reader.Read()
    change = gdcm.ImageChangeTransferSyntax()
    change.SetTransferSyntax(gdcm.TransferSyntax(gdcm.TransferSyntax.JPEGLosslessProcess14_1))
    change.SetInput(reader.GetImage())
    assert change.Change()
    writer = gdcm.ImageWriter()
    writer.SetFileName(str(target))
    writer.SetFile(reader.GetFile())
    writer.SetImage(change.GetOutput())
    assert writer.Write()
