"""Real compressed files that pydicom and pydicom-data ship, against a decoder other than ours.

Nothing is downloaded. The plugin named is pydicom's; `plain` is `plain_jpeg`, since no other
installed decoder reads 12-bit JPEG.
"""

import warnings
from pathlib import Path

import numpy as np
import pytest
from pydicom import dcmread
from pydicom.data import get_testdata_file
from pydicom.pixels import apply_color_lut, pixel_array

from annot.loops import open_loop
from tests.contracts.plain_jpeg import decode_plain_jpeg

LOSSLESS = {
    "pylibjpeg": [
        "693_J2KR.dcm", "MR2_J2KR.dcm", "RG1_J2KR.dcm", "RG3_J2KR.dcm", "US1_J2KR.dcm",
        "emri_small_jpeg_2k_lossless.dcm", "explicit_VR-UN.dcm", "GDCMJ2K_TextGBR.dcm",
        "J2K_pixelrep_mismatch.dcm", "MR_small_jp2klossless.dcm", "examples_jpeg2k.dcm",
        "OBXXXX1A_rle.dcm", "OBXXXX1A_rle_2frame.dcm", "emri_small_RLE.dcm", "MR_small_RLE.dcm",
        "SC_rgb_rle.dcm", "SC_rgb_rle_2frame.dcm", "rtdose_rle.dcm",
    ],
    "gdcm": [
        "JPEG-LL.dcm", "JPGLosslessP14SV1_1s_1f_8b.dcm", "bad_sequence.dcm", "SC_rgb_jpeg_gdcm.dcm",
        "emri_small_jpeg_ls_lossless.dcm", "MR_small_jpeg_ls_lossless.dcm",
    ],
}  # fmt: skip
LOSSY = {
    "pylibjpeg": [
        "MR2_J2KI.dcm", "RG1_J2KI.dcm", "RG3_J2KI.dcm", "US1_J2KI.dcm", "693_J2KI.dcm",
        "JPEG2000.dcm", "SC_rgb_gdcm_KY.dcm",
    ],
    "pyjpegls": [
        "JPEGLSNearLossless_08.dcm", "JPEGLSNearLossless_16.dcm", "SC_rgb_jls_lossy_line.dcm",
        "SC_rgb_jls_lossy_sample.dcm",
    ],
    "gdcm": [
        "color3d_jpeg_baseline.dcm", "examples_ybr_color.dcm", "SC_jpeg_no_color_transform.dcm",
        "SC_jpeg_no_color_transform_2.dcm", "SC_rgb_dcmtk_+eb+cr.dcm", "SC_rgb_dcmtk_+eb+cy+n1.dcm",
        "SC_rgb_dcmtk_+eb+cy+n2.dcm", "SC_rgb_dcmtk_+eb+cy+np.dcm", "SC_rgb_dcmtk_+eb+cy+s2.dcm",
        "SC_rgb_dcmtk_+eb+cy+s4.dcm", "SC_rgb_jpeg_app14_dcmd.dcm", "SC_rgb_jpeg_dcmtk.dcm",
        "SC_rgb_jpeg_lossy_gdcm.dcm", "SC_rgb_small_odd_jpeg.dcm",
    ],
    "plain": ["JPEG-lossy.dcm", "JPGExtended.dcm"],
}  # fmt: skip
# Public JPEG decoders differ by up to this much.
LOSSY_LEVELS = 3


def shipped(name: str) -> Path:
    found = get_testdata_file(name, download=False)
    assert found is not None, f"{name} is in no installed package"
    return Path(str(found))


def independently(path: Path, plugin: str) -> np.ndarray:
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        dataset = dcmread(path)
        if plugin == "plain":
            return decode_plain_jpeg(dataset.PixelData[16:])  # one fragment after an empty table
        pixels = pixel_array(path, decoding_plugin=plugin)
        if dataset.PhotometricInterpretation == "PALETTE COLOR":
            return apply_color_lut(pixels, dataset) >> 8
        return pixels


@pytest.mark.parametrize(
    ("name", "plugin", "levels"),
    [
        pytest.param(name, plugin, levels, id=name)
        for files, levels in ((LOSSLESS, 0), (LOSSY, LOSSY_LEVELS))
        for plugin, names in files.items()
        for name in names
    ],
)
def test_a_real_file_gives_the_pixels_of_an_independent_decoder(name, plugin, levels):
    path = shipped(name)
    loop = open_loop(path)
    expected = independently(path, plugin).reshape(loop.shape)
    for n in range(0, loop.frames, 7):  # 18 of the longest loop's 120
        difference = np.abs(loop.frame(n).astype(float) - expected[n])
        assert difference.max() <= levels
