"""One contract for every encoding: the same pixels as an independent decoder.

Exact where lossless, also against the frame that was encoded; within 3 grey levels where lossy,
since public JPEG decoders differ by that much. The independent decoders are pydicom's plugins gdcm,
pyjpegls, pylibjpeg-openjpeg and pylibjpeg-rle, and for 12-bit JPEG the one in `plain_jpeg`.
"""

import warnings
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import pytest
from pydicom import dcmread, dcmwrite
from pydicom.dataset import Dataset, FileMetaDataset
from pydicom.encaps import encapsulate
from pydicom.pixels import convert_color_space, pixel_array
from pydicom.uid import UID

from annot.errors import LoopError
from annot.loops import LoopArray, open_loop
from tests.contracts import encoders
from tests.contracts.plain_jpeg import decode_plain_jpeg

BASE = "1.2.840.10008.1.2"
SHAPE = (37, 52)  # odd and not a multiple of a block
LOSSY_LEVELS = 3


def scene() -> np.ndarray:
    """Three frames of a smooth scene with noise and hard edges, 12 bits."""
    rows, columns = np.mgrid[: SHAPE[0], : SHAPE[1]]
    noise = np.random.default_rng(1).normal(0, 25, (3, *SHAPE))
    wave = 2048 + 1500 * np.sin(columns / 9 + np.arange(3)[:, None, None]) * np.cos(rows / 7)
    wave[:, 10:20, 5:9] = 4095
    wave[:, 25:30, 30:45] = 0
    return np.clip(wave + noise, 0, 4095).astype(np.uint16)


DEEP = scene()
SIGNED = (DEEP.astype(np.int16) - 2048).astype(np.int16)
GREY = (DEEP >> 4).astype(np.uint8)
COLOUR = np.stack([GREY, GREY[:, ::-1], 255 - GREY[:, :, ::-1]], axis=-1)
KINDS = {"grey 8": GREY, "grey 12 in 16": DEEP, "signed 12 in 16": SIGNED, "RGB": COLOUR}


@dataclass(frozen=True, kw_only=True)
class Encoding:
    """How one syntax is written and by whom it is read besides."""

    tail: str
    encode: Callable[[np.ndarray], bytes]
    plugin: str
    kinds: tuple[str, ...] = tuple(KINDS)
    lossless: bool = True
    photometric: str = "RGB"
    name: str = ""

    @property
    def uid(self) -> str:
        return BASE + self.tail


def jls(frame: np.ndarray, **options: int) -> bytes:
    # JPEG-LS knows no sign: signed values go in as their 12 low bits.
    if frame.dtype.kind == "i":
        frame = (frame.view(np.uint16) & 0xFFF).astype(np.uint16)
    uid = BASE + (".4.81" if options else ".4.80")
    return encoders.by_pydicom(frame, uid, encoding_plugin="pyjpegls", **options)


def j2k(frame: np.ndarray, **options: object) -> bytes:
    uid = BASE + (".4.91" if "j2k_psnr" in options else ".4.90")
    return encoders.by_pydicom(frame, uid, encoding_plugin="pylibjpeg", **options)


def ybr(frame: np.ndarray) -> np.ndarray:
    return convert_color_space(frame, "RGB", "YBR_FULL")


ENCODINGS = [
    Encoding(tail=".5", encode=lambda f: encoders.by_pydicom(f, BASE + ".5"), plugin="pylibjpeg"),
    Encoding(
        tail=".5", name="YBR_FULL", photometric="YBR_FULL", kinds=("RGB",), plugin="pylibjpeg",
        encode=lambda f: encoders.by_pydicom(ybr(f), BASE + ".5", photometric="YBR_FULL"),
    ),
    Encoding(
        tail=".4.50", encode=encoders.baseline, plugin="gdcm", lossless=False,
        photometric="YBR_FULL_422", kinds=("grey 8", "RGB"),
    ),
    Encoding(
        tail=".4.50", name="4:4:4", encode=lambda f: encoders.baseline(f, subsampling=0),
        plugin="gdcm", lossless=False, photometric="YBR_FULL", kinds=("RGB",),
    ),
    Encoding(
        tail=".4.50", name="only the header tells YBR", plugin="gdcm", lossless=False,
        encode=lambda f: encoders.without_marks(encoders.baseline(f)),
        photometric="YBR_FULL_422", kinds=("RGB",),
    ),
    Encoding(
        tail=".4.50", name="RGB inside", plugin="pillow", lossless=False, kinds=("RGB",),
        encode=lambda f: encoders.baseline(f, keep_rgb=True, subsampling=0),
    ),
    Encoding(
        tail=".4.50", name="YBR called RGB", plugin="pillow", lossless=False, kinds=("RGB",),
        encode=encoders.baseline,
    ),
    Encoding(
        tail=".4.50", name="progressive", plugin="gdcm", lossless=False, kinds=("grey 8",),
        encode=lambda f: encoders.baseline(f, progressive=True),
    ),
    Encoding(
        tail=".4.51", encode=encoders.baseline, plugin="gdcm", lossless=False,
        photometric="YBR_FULL_422", kinds=("grey 8",),
    ),
    Encoding(
        tail=".4.51", encode=encoders.extended_12, plugin="plain", lossless=False,
        kinds=("grey 12 in 16",),
    ),
    *(
        Encoding(
            tail=".4.57", name=f"predictor {number}", plugin="gdcm",
            encode=lambda f, number=number: encoders.lossless(f, predictor=number),
        )
        for number in range(1, 8)
    ),
    Encoding(
        tail=".4.70", encode=lambda f: encoders.lossless(f, predictor=1), plugin="gdcm",
        name="imagecodecs",
    ),
    Encoding(
        tail=".4.70", name="YBR_FULL", photometric="YBR_FULL", kinds=("RGB",), plugin="gdcm",
        encode=lambda f: encoders.lossless(ybr(f), predictor=1),
    ),
    Encoding(tail=".4.80", encode=jls, plugin="pyjpegls"),
    Encoding(
        tail=".4.81", encode=lambda f: jls(f, jls_error=2), plugin="pyjpegls", lossless=False,
    ),
    Encoding(
        tail=".4.90", encode=lambda f: j2k(f, photometric="YBR_RCT") if f.ndim == 3 else j2k(f),
        plugin="pylibjpeg", photometric="YBR_RCT",
    ),
    Encoding(tail=".4.90", name="no transform", encode=j2k, plugin="pylibjpeg", kinds=("RGB",)),
    Encoding(
        tail=".4.91", plugin="pylibjpeg", lossless=False, photometric="YBR_ICT",
        encode=lambda f: j2k(
            f, j2k_psnr=[45], photometric="YBR_ICT" if f.ndim == 3 else "MONOCHROME2"
        ),
    ),
    *(
        Encoding(
            tail=tail, encode=lambda f: encoders.htj2k(f, reversible=True), plugin="pylibjpeg",
            photometric="YBR_RCT",
        )
        for tail in (".4.201", ".4.202", ".4.203")
    ),
    Encoding(
        tail=".4.203", name="lossy", plugin="pylibjpeg", lossless=False, photometric="YBR_ICT",
        encode=lambda f: encoders.htj2k(f, reversible=False),
    ),
]  # fmt: skip
CONTRACT = [
    pytest.param(one, kind, id=f"{UID(one.uid).name[:28]} {one.tail} {one.name} {kind}")
    for one in ENCODINGS
    for kind in one.kinds
]


def described(frames: np.ndarray, uid: str, *, colour_as: str = "RGB") -> Dataset:
    """Give a header for frames, without pixels."""
    dataset = Dataset()
    dataset.SOPClassUID, dataset.SOPInstanceUID = "1.2.840.10008.5.1.4.1.1.7.4", "1.2.3"
    dataset.Modality = "OT"
    dataset.NumberOfFrames, dataset.Rows, dataset.Columns = frames.shape[:3]
    colour = frames.ndim == 4
    dataset.SamplesPerPixel = 3 if colour else 1
    dataset.PhotometricInterpretation = colour_as if colour else "MONOCHROME2"
    if colour:
        dataset.PlanarConfiguration = 0
    dataset.BitsAllocated = frames.dtype.itemsize * 8
    dataset.BitsStored = 8 if frames.dtype.itemsize == 1 else 12
    dataset.HighBit = dataset.BitsStored - 1
    dataset.PixelRepresentation = int(frames.dtype.kind == "i")
    dataset.file_meta = FileMetaDataset()
    dataset.file_meta.TransferSyntaxUID = uid
    return dataset


def write(path: Path, frames: np.ndarray, streams: list[bytes], one: Encoding) -> Path:
    dataset = described(frames, one.uid, colour_as=one.photometric)
    dataset.PixelData = encapsulate(streams)
    dataset["PixelData"].VR = "OB"
    dataset.save_as(path, enforce_file_format=True)
    return path


def write_native(path: Path, frames: np.ndarray, uid: str) -> Path:
    big = uid == f"{BASE}.2"
    dataset = described(frames, uid)
    stored = frames.astype(frames.dtype.newbyteorder(">" if big else "<"))
    dataset.add_new("PixelData", "OW" if frames.itemsize > 1 else "OB", stored.tobytes())
    dcmwrite(
        path, dataset, implicit_vr=uid == BASE, little_endian=not big, enforce_file_format=True
    )
    return path


def independently(path: Path, frame: int, stream: bytes, plugin: str) -> np.ndarray:
    if plugin == "plain":
        return decode_plain_jpeg(stream)
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        pixels = pixel_array(path, index=frame, decoding_plugin=plugin)
    if plugin == "gdcm" and dcmread(path).PhotometricInterpretation == "YBR_FULL":
        lossless = path.read_bytes().count(b"1.2.840.10008.1.2.4.70")
        return convert_color_space(pixels, "YBR_FULL", "RGB") if lossless else pixels
    return pixels


@pytest.mark.parametrize(("one", "kind"), CONTRACT)
def test_every_encoding_gives_the_pixels_of_an_independent_decoder(tmp_path, one, kind):
    frames = KINDS[kind]
    streams = [one.encode(frame) for frame in frames]
    path = write(tmp_path / "loop.dcm", frames, streams, one)
    loop = open_loop(path)
    assert (loop.shape, loop.dtype) == (frames.shape, frames.dtype)
    for n, stream in enumerate(streams):
        pixels, expected = loop.frame(n), independently(path, n, stream, one.plugin)
        if not one.lossless:
            assert np.abs(pixels.astype(float) - expected).max() <= LOSSY_LEVELS
            continue
        np.testing.assert_array_equal(pixels, expected)
        # 8-bit YBR is itself rounded.
        near = 1 if one.photometric == "YBR_FULL" else 0
        np.testing.assert_allclose(pixels.astype(int), frames[n].astype(int), atol=near)


@pytest.mark.parametrize("kind", ["grey 8", "grey 12 in 16"])
def test_jpeg_lossless_written_by_another_library_is_exact(tmp_path, kind):
    frames = KINDS[kind]
    source = write_native(tmp_path / "native.dcm", frames, f"{BASE}.1")
    target = tmp_path / "lossless.dcm"
    encoders.transcode_by_gdcm(source, target)
    loop = open_loop(target)
    assert loop.header.transfer_syntax_uid == f"{BASE}.4.70"
    np.testing.assert_array_equal(np.asarray(LoopArray(loop)), frames)


@pytest.mark.parametrize("tail", ["", ".1", ".2", ".1.99"])
@pytest.mark.parametrize("kind", KINDS)
def test_every_uncompressed_syntax_gives_the_pixels_of_pydicom(tmp_path, tail, kind):
    frames = KINDS[kind]
    path = write_native(tmp_path / "loop.dcm", frames, BASE + tail)
    loop = open_loop(path)
    np.testing.assert_array_equal(np.asarray(LoopArray(loop)), frames)
    np.testing.assert_array_equal(np.asarray(LoopArray(loop)), dcmread(path).pixel_array)


@pytest.mark.parametrize(
    "one", [pytest.param(one, id=f"{one.tail} {one.name}") for one in ENCODINGS]
)
def test_a_damaged_stream_is_told_or_gives_a_frame_and_nothing_else_is_said(tmp_path, capfd, one):
    kind = one.kinds[0]
    rng = np.random.default_rng(17)
    whole = one.encode(KINDS[kind][0])
    for _ in range(25):
        stream = bytearray(whole)
        for place in rng.integers(len(stream) // 3, len(stream) - 2, 3):
            stream[place] = rng.integers(256)
        path = write(tmp_path / "loop.dcm", KINDS[kind][:1], [bytes(stream)], one)
        try:
            pixels = open_loop(path).frame(0)
        except LoopError:
            continue
        assert pixels.shape == SHAPE + KINDS[kind].shape[3:]
        # Nothing left over from other frames: memory that was never written would differ.
        np.testing.assert_array_equal(pixels, open_loop(path).frame(0))
    told = capfd.readouterr()
    assert told.out + told.err == ""


def test_the_plain_decoder_agrees_with_another_one_where_both_read(tmp_path):
    one = Encoding(tail=".4.50", encode=encoders.baseline, plugin="gdcm")
    stream = encoders.baseline(GREY[0])
    path = write(tmp_path / "loop.dcm", GREY[:1], [stream], one)
    plain = decode_plain_jpeg(stream)
    assert np.abs(plain - independently(path, 0, stream, "gdcm")).max() < 1.5
