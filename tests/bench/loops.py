"""Loops to time: the shapes of angiography and echo, a smooth scene with noise, in every encoding.

Sixteen different frames are encoded and repeated, so that a long loop is made in seconds; each copy
is stored, read and decoded on its own.
"""

import io
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

import imagecodecs
import numpy as np
from PIL import Image
from pydicom import dcmwrite
from pydicom.dataset import Dataset, FileMetaDataset
from pydicom.encaps import encapsulate
from pydicom.pixels import get_encoder

BASE = "1.2.840.10008.1.2"
_DIFFERENT = 16


@dataclass(frozen=True, kw_only=True)
class BenchLoop:
    """One loop to time and how the bare codec reads one of its frames."""

    name: str
    tail: str
    shape: tuple[int, ...]
    encode: Callable[[np.ndarray], bytes]
    bare: Callable[[bytes], np.ndarray]
    peers: tuple[str, ...]
    bits: int = 12
    photometric: str = "MONOCHROME2"


def xray(frames: int, size: int, bits: int) -> np.ndarray:
    """Smooth shadows under quantum noise."""
    rows, columns = np.mgrid[:size, :size] / size
    top = (1 << bits) - 1
    rng = np.random.default_rng(4)
    scene = 0.45 + 0.2 * np.sin(5 * columns) * np.cos(4 * rows)
    moving = [scene + 0.15 * np.sin(20 * (rows + columns) + n) for n in range(frames)]
    noisy = np.stack(moving) * top + rng.normal(0, 0.012 * top, (frames, size, size))
    return np.clip(noisy, 0, top).astype(np.uint16 if bits > 8 else np.uint8)


def echo(frames: int, rows: int, columns: int) -> np.ndarray:
    """Speckle inside a dark sector, and a flat screen around it; colour."""
    rng = np.random.default_rng(5)
    y, x = np.mgrid[:rows, :columns]
    sector = (np.hypot(y, x - columns / 2) < 0.9 * rows) & (np.abs(x - columns / 2) < 0.7 * y)
    made = []
    for _ in range(frames):
        coarse = rng.gamma(2, 30, (-(-rows // 4), -(-columns // 4)))
        speckle = np.kron(coarse, np.ones((4, 4)))[:rows, :columns]
        grey = np.clip(speckle * sector + 12, 0, 255).astype(np.uint8)
        made.append(np.stack([grey, grey, np.minimum(grey + 10, 250).astype(np.uint8)], axis=-1))
    return np.stack(made)


def _jpeg(frame: np.ndarray) -> bytes:
    stream = io.BytesIO()
    Image.fromarray(frame).save(stream, "JPEG", quality=90, subsampling=1)
    return stream.getvalue()


def _rle(frame: np.ndarray) -> bytes:
    colour = frame.ndim == 3
    return get_encoder(f"{BASE}.5").encode(
        frame.tobytes(), rows=frame.shape[0], columns=frame.shape[1], number_of_frames=1,
        samples_per_pixel=3 if colour else 1, bits_allocated=frame.itemsize * 8,
        bits_stored=frame.itemsize * 8, pixel_representation=0, planar_configuration=0,
        photometric_interpretation="RGB" if colour else "MONOCHROME2",
        encoding_plugin="pylibjpeg",
    )  # fmt: skip


def _bare_rle(content: bytes) -> np.ndarray:
    out = np.empty((512, 512), dtype=np.uint16)
    imagecodecs.dicomrle_decode(content, out.dtype, out=out.data.cast("B"))
    return out


def _bare_colour(content: bytes) -> np.ndarray:
    return imagecodecs.jpeg8_decode(content, colorspace="YCBCR", outcolorspace="RGB")


def _lossless(frame: np.ndarray) -> bytes:
    return imagecodecs.jpeg8_encode(frame, lossless=True, predictor=1, bitspersample=12)


def _j2k(frame: np.ndarray) -> bytes:
    return imagecodecs.jpeg2k_encode(
        frame, codecformat="J2K", reversible=True, level=0, mct=False, bitspersample=12
    )


XRAY = (150, 512, 512)
LOOPS = [
    BenchLoop(
        name="JPEG lossless 512²", tail=".4.70", shape=XRAY, encode=_lossless,
        bare=imagecodecs.jpeg8_decode, peers=("gdcm",),
    ),
    BenchLoop(
        name="JPEG-LS 512²", tail=".4.80", shape=XRAY, encode=imagecodecs.jpegls_encode,
        bare=imagecodecs.jpegls_decode, peers=("gdcm", "pyjpegls"),
    ),
    BenchLoop(
        name="JPEG 2000 512²", tail=".4.90", shape=XRAY, encode=_j2k,
        bare=imagecodecs.jpeg2k_decode, peers=("gdcm", "pylibjpeg"),
    ),
    BenchLoop(
        name="HTJ2K 512²", tail=".4.201", shape=XRAY,
        encode=lambda frame: imagecodecs.htj2k_encode(frame, reversible=True),
        bare=imagecodecs.jpeg2k_decode, peers=("pylibjpeg",),
    ),
    BenchLoop(
        name="RLE 512²", tail=".5", shape=XRAY, encode=_rle, bare=_bare_rle,
        peers=("pylibjpeg", "pydicom"),
    ),
    BenchLoop(
        name="JPEG baseline 1024²", tail=".4.50", shape=(150, 1024, 1024), encode=_jpeg,
        bare=imagecodecs.jpeg8_decode, peers=("gdcm", "pillow"), bits=8,
    ),
    BenchLoop(
        name="JPEG baseline colour 708×1016", tail=".4.50", shape=(120, 708, 1016, 3),
        encode=_jpeg, bare=_bare_colour, peers=("gdcm", "pillow"), bits=8,
        photometric="YBR_FULL_422",
    ),
]  # fmt: skip


def frames_of(loop: BenchLoop) -> np.ndarray:
    """Give the different frames of a loop."""
    if len(loop.shape) == 4:
        return echo(_DIFFERENT, *loop.shape[1:3])
    return xray(_DIFFERENT, loop.shape[1], loop.bits)


def write_bench_loop(folder: Path, loop: BenchLoop, *, frames: int | None = None) -> Path:
    """Write a loop, by default of its own length; it has a basic offset table."""
    path = folder / f"{loop.tail}-{frames}-{loop.shape[-1]}.dcm"
    if not path.exists():
        count = frames or loop.shape[0]
        streams = [loop.encode(frame) for frame in frames_of(loop)]
        dataset = _described(loop, count)
        dataset.PixelData = encapsulate([streams[n % _DIFFERENT] for n in range(count)])
        dataset["PixelData"].VR = "OB"
        dcmwrite(path, dataset, enforce_file_format=True)
    return path


def write_native_loop(folder: Path) -> Path:
    """Write an uncompressed angiography loop of 150 frames, 12 bits in 16."""
    path = folder / "native.dcm"
    if not path.exists():
        like = LOOPS[0]
        dataset = _described(like, like.shape[0])
        dataset.file_meta.TransferSyntaxUID = f"{BASE}.1"
        content = frames_of(like).tobytes()
        dataset.add_new("PixelData", "OW", content * (like.shape[0] // _DIFFERENT + 1))
        dataset.PixelData = dataset.PixelData[: np.prod(like.shape) * 2]
        dcmwrite(path, dataset, enforce_file_format=True)
    return path


def _described(loop: BenchLoop, frames: int) -> Dataset:
    dataset = Dataset()
    dataset.SOPClassUID = "1.2.840.10008.5.1.4.1.1.12.1"
    dataset.SOPInstanceUID = dataset.StudyInstanceUID = dataset.SeriesInstanceUID = "1.2.3"
    dataset.Modality = "US" if len(loop.shape) == 4 else "XA"
    dataset.FrameTime = 66.7
    dataset.NumberOfFrames, dataset.Rows, dataset.Columns = frames, *loop.shape[1:3]
    dataset.SamplesPerPixel = loop.shape[3] if len(loop.shape) == 4 else 1
    dataset.PhotometricInterpretation = loop.photometric
    if dataset.SamplesPerPixel == 3:
        dataset.PlanarConfiguration = 0
    dataset.BitsAllocated = 16 if loop.bits > 8 else 8
    dataset.BitsStored, dataset.HighBit = loop.bits, loop.bits - 1
    dataset.PixelRepresentation = 0
    dataset.file_meta = FileMetaDataset()
    dataset.file_meta.TransferSyntaxUID = BASE + loop.tail
    return dataset
