"""Real files that packages ship, against pydicom's own decoding of the whole array.

The files come with pydicom (its wheel) and with pydicom-data; nothing is downloaded.
"""

import warnings
from functools import cache
from pathlib import Path

import numpy as np
import pytest
from pydicom import dcmread
from pydicom.data import get_testdata_file
from pydicom.pixels import apply_color_lut

from annot.errors import LoopError
from annot.loops import LoopArray, LoopHeader, open_loop, read_header


@cache
def sample(name: str) -> Path:
    """Path of a shipped file; a name that no installed package ships is a failure."""
    found = get_testdata_file(name, download=False)
    assert found is not None, f"{name} is in no installed package"
    return Path(str(found))


def by_pydicom(path: Path) -> np.ndarray:
    """Decode the whole file with pydicom alone, palette applied and brought to 8 bits."""
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        dataset = dcmread(path)
        pixels = dataset.pixel_array
        if dataset.PhotometricInterpretation == "PALETTE COLOR":
            pixels = (apply_color_lut(pixels, dataset) >> 8).astype(np.uint8)
    return pixels


EXACT = [
    # loops: colour JPEG baseline (30 and 120 frames), RLE, native, palette
    "examples_ybr_color.dcm",
    "color3d_jpeg_baseline.dcm",
    "examples_rgb_color.dcm",
    "examples_palette.dcm",
    "OBXXXX1A_2frame.dcm",
    "OBXXXX1A_rle_2frame.dcm",
    "gdcm-US-ALOKA-16.dcm",
    "gdcm-US-ALOKA-16_big.dcm",
    "emri_small.dcm",
    "emri_small_RLE.dcm",
    "emri_small_big_endian.dcm",
    "emri_small_jpeg_2k_lossless.dcm",
    "SC_rgb_rle_2frame.dcm",
    "SC_rgb_expb_2frame.dcm",
    "rtdose.dcm",
    "rtdose_expb.dcm",
    "rtdose_rle.dcm",
    # single images: bit depths, signs, colour spaces, odd sizes, padding
    "CT_small.dcm",
    "MR_small.dcm",
    "MR_small_RLE.dcm",
    "MR_small_bigendian.dcm",
    "MR_small_implicit.dcm",
    "MR_small_padded.dcm",
    "MR_small_jp2klossless.dcm",
    "JPEG2000.dcm",
    "J2K_pixelrep_mismatch.dcm",
    "693_J2KI.dcm",
    "MR2_J2KI.dcm",
    "RG3_J2KR.dcm",
    "US1_J2KR.dcm",
    "examples_overlay.dcm",
    "examples_jpeg2k.dcm",
    "image_dfl.dcm",
    "ExplVR_BigEnd.dcm",
    "SC_rgb_small_odd.dcm",
    "SC_rgb_small_odd_big_endian.dcm",
    "SC_rgb_small_odd_jpeg.dcm",
    "SC_ybr_full_422_uncompressed.dcm",
    "SC_ybr_full_uncompressed.dcm",
    "SC_rgb_jpeg_dcmtk.dcm",
    "SC_rgb_dcmtk_+eb+cr.dcm",
    "SC_rgb_dcmtk_+eb+cy+s4.dcm",
    "SC_jpeg_no_color_transform.dcm",
    "color-pl.dcm",
    "color-px.dcm",
]


@pytest.mark.parametrize("name", EXACT)
def test_every_frame_agrees_with_pydicoms_whole_array(name):
    loop = open_loop(sample(name))
    expected = by_pydicom(sample(name)).reshape(loop.shape)
    assert loop.dtype == expected.dtype.newbyteorder("=")
    for n in range(loop.frames):
        np.testing.assert_array_equal(loop.frame(n), expected[n])


@pytest.mark.parametrize("stem", ["693", "MR2", "RG1", "RG3", "US1"])
def test_lossless_jpeg_2000_equals_the_uncompressed_twin(stem):
    # pydicom-data ships each image uncompressed and as lossless JPEG 2000: 14 bits signed, 12, 15
    # and 10 bits in 16, and 8-bit colour. Bare Pillow scales the 16-bit ones up; these are exact.
    twin = open_loop(sample(f"{stem}_UNCR.dcm"))
    np.testing.assert_array_equal(open_loop(sample(f"{stem}_J2KR.dcm")).frame(0), twin.frame(0))


@pytest.mark.parametrize(
    ("name", "twin_name"),
    [
        ("SC_rgb_rle_2frame.dcm", "SC_rgb_2frame.dcm"),
        ("OBXXXX1A_rle_2frame.dcm", "OBXXXX1A_2frame.dcm"),
        # Big endian, where pydicom reads the palette in the wrong byte order.
        ("OBXXXX1A_expb_2frame.dcm", "OBXXXX1A_2frame.dcm"),
    ],
)
def test_another_encoding_of_the_same_loop_gives_the_same_pixels(name, twin_name):
    loop, twin = open_loop(sample(name)), open_loop(sample(twin_name))
    np.testing.assert_array_equal(np.asarray(LoopArray(loop)), np.asarray(LoopArray(twin)))


def test_a_colour_ultrasound_loop_of_120_frames():
    # Read off the file with dcdump.
    header = read_header(sample("color3d_jpeg_baseline.dcm"))
    assert (header.frames, header.rows, header.columns) == (120, 480, 640)
    assert header.modality == "US"
    assert header.photometric == "YBR_FULL_422"
    assert header.frame_times.source == "FrameTime"
    assert header.heart_rate is None
    assert header.lossy is True
    assert any("HeartRate is 0" in sentence for sentence in header.warnings)


def one_scale(header: LoopHeader) -> list[tuple[float, float]]:
    return [region.mm_per_px for region in header.regions if region.is_2d_length]


@pytest.mark.parametrize(
    ("name", "inside", "mm_per_px"),
    [
        ("examples_ybr_color.dcm", [False], None),
        ("examples_palette.dcm", [False, False], 0.2622878766),
        ("OBXXXX1A_2frame.dcm", [False, True], 0.2622878766),
        ("gdcm-US-ALOKA-16.dcm", [True, True, True], 0.3826530650),
    ],
)
def test_the_regions_of_real_files(name, inside, mm_per_px):
    header = read_header(sample(name))
    assert [region.inside(header.rows, header.columns) for region in header.regions] == inside
    stale = [s for s in header.warnings if "leaves the image" in s]
    assert len(stale) == inside.count(False)
    if mm_per_px is not None:
        for scale in one_scale(header):
            assert scale == pytest.approx((mm_per_px, mm_per_px))


@pytest.mark.parametrize(
    ("name", "words"),
    [
        ("MR_truncated.dcm", "holds 8130 bytes of pixels"),
        ("liver.dcm", "1 bits are allocated"),
        ("SC_rgb_16bit.dcm", "RGB in 16 bits"),
        ("no_meta.dcm", "not a DICOM file"),
        ("meta_missing_tsyntax.dcm", "transfer syntax"),
        ("waveform_ecg.dcm", "no pixel data"),
        ("test-SR.dcm", "no pixel data"),
        ("rtplan_truncated.dcm", "no pixel data"),
        ("README.txt", "not a DICOM file"),
    ],
)
def test_what_cannot_be_opened_says_why(name, words):
    with pytest.raises(LoopError, match=words):
        open_loop(sample(name))


def test_a_stream_whose_size_was_damaged_is_not_decoded():
    loop = open_loop(sample("JPEG2000-embedded-sequence-delimiter.dcm"))
    with pytest.raises(LoopError, match="in its own words but 1024 × 256"):
        loop.frame(0)


def test_frames_are_whole_though_the_end_mark_is_missing():
    loop = open_loop(sample("emri_small_jpeg_2k_lossless_too_short.dcm"))
    whole = by_pydicom(sample("emri_small_jpeg_2k_lossless.dcm"))
    np.testing.assert_array_equal(np.asarray(LoopArray(loop)), whole)
