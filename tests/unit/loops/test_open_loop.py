"""Opening native loops, and refusing what cannot be opened, with a sentence."""

import os
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path

import numpy as np
import pytest
from pydicom.uid import (
    DeflatedExplicitVRLittleEndian,
    ExplicitVRBigEndian,
    ExplicitVRLittleEndian,
    ImplicitVRLittleEndian,
)

from annot.errors import LoopError
from annot.loops import dicom_file, open_loop, read_header

RAMP = np.arange(3 * 4 * 5, dtype=np.uint16).reshape(3, 4, 5)
COLOUR = np.arange(2 * 3 * 5 * 3, dtype=np.uint8).reshape(2, 3, 5, 3)
NATIVE = [
    ExplicitVRLittleEndian,
    ImplicitVRLittleEndian,
    ExplicitVRBigEndian,
    DeflatedExplicitVRLittleEndian,
]


def refusal(path: Path) -> str:
    with pytest.raises(LoopError) as refused:
        open_loop(path)
    message = str(refused.value)
    assert message.endswith(".")
    assert "\n" not in message
    return message


@pytest.mark.parametrize("syntax", NATIVE)
@pytest.mark.parametrize("dtype", [np.uint8, np.uint16, np.int16, np.uint32])
def test_grey_frames_come_back_as_written(write_loop, syntax, dtype):
    pixels = RAMP.astype(dtype)
    loop = open_loop(write_loop(pixels, syntax=syntax))
    assert loop.shape == (3, 4, 5)
    assert loop.dtype == dtype
    for n in range(3):
        frame = loop.frame(n)
        assert frame.dtype == dtype
        assert frame.dtype.isnative
        np.testing.assert_array_equal(frame, pixels[n])


@pytest.mark.parametrize("syntax", NATIVE)
def test_colour_frames_come_back_as_written(write_loop, syntax):
    loop = open_loop(write_loop(COLOUR, syntax=syntax))
    assert loop.header.colour
    assert (loop.shape, loop.dtype) == ((2, 3, 5, 3), np.uint8)
    for n in range(2):
        np.testing.assert_array_equal(loop.frame(n), COLOUR[n])


def test_planar_colour_is_put_back_per_pixel(write_loop):
    planes = np.ascontiguousarray(COLOUR.transpose(0, 3, 1, 2)).tobytes()
    loop = open_loop(write_loop(COLOUR, value=planes, PlanarConfiguration=1))
    np.testing.assert_array_equal(loop.frame(1), COLOUR[1])


def test_bytes_inside_big_endian_words_are_unswapped(write_loop):
    pixels = np.arange(2 * 3 * 3, dtype=np.uint8).reshape(2, 3, 3)  # frames of odd length
    stored = pixels.reshape(-1, 2)[:, ::-1].tobytes()
    path = write_loop(pixels, value=stored, syntax=ExplicitVRBigEndian)
    content = path.read_bytes().replace(b"\x7f\xe0\x00\x10OB", b"\x7f\xe0\x00\x10OW")
    path.write_bytes(content)
    loop = open_loop(path)
    np.testing.assert_array_equal(loop.frame(0), pixels[0])
    np.testing.assert_array_equal(loop.frame(1), pixels[1])


def test_subsampled_colour_shares_the_pair(write_loop):
    # Y Y Cb Cr (PS3.3 C.7.6.3.1.2); 128 is no colour, so RGB equals Y there.
    stored = bytes([10, 20, 128, 128, 30, 40, 128, 128])
    shape = np.zeros((1, 2, 2, 3), dtype=np.uint8)
    loop = open_loop(write_loop(shape, value=stored, PhotometricInterpretation="YBR_FULL_422"))
    np.testing.assert_array_equal(loop.frame(0)[..., 1], [[10, 20], [30, 40]])
    np.testing.assert_array_equal(loop.frame(0)[..., 0], loop.frame(0)[..., 2])


def test_full_ybr_becomes_rgb(write_loop):
    # PS3.3 C.7.6.3.1.2: pure red is Y 76, Cb 85, Cr 255 (rounded).
    stored = bytes([76, 85, 255] * 4)
    shape = np.zeros((1, 2, 2, 3), dtype=np.uint8)
    loop = open_loop(write_loop(shape, value=stored, PhotometricInterpretation="YBR_FULL"))
    np.testing.assert_allclose(loop.frame(0)[0, 0].astype(int), [255, 0, 0], atol=1)


def palette(entries: np.ndarray, order: str) -> dict[str, object]:
    attributes: dict[str, object] = {"PhotometricInterpretation": "PALETTE COLOR"}
    for channel, name in enumerate(("Red", "Green", "Blue")):
        stem = f"{name}PaletteColorLookupTable"
        attributes[f"{stem}Descriptor"] = [len(entries), 0, 16]
        attributes[f"{stem}Data"] = entries[:, channel].astype(f"{order}u2").tobytes()
    return attributes


@pytest.mark.parametrize("syntax", NATIVE)
@pytest.mark.parametrize(("scale", "low"), [(256, 0), (256, 7), (1, 0)])
def test_palette_colour_becomes_8_bit_rgb(write_loop, scale, low, syntax):
    table = np.array([[1, 2, 3], [40, 50, 60], [250, 251, 252]])
    indices = np.array([[[0, 1], [2, 0]]], dtype=np.uint8)
    order = ">" if syntax == ExplicitVRBigEndian else "<"
    path = write_loop(indices, syntax=syntax, **palette(table * scale + low, order))
    loop = open_loop(path)
    assert loop.header.colour
    assert loop.frame(0).dtype == np.uint8
    np.testing.assert_array_equal(loop.frame(0), table[indices[0]])


def test_a_palette_of_8_bit_entries_is_taken_as_it_is(write_loop):
    table = np.array([[1, 2, 3], [40, 50, 60], [250, 251, 252], [0, 0, 0]])
    indices = np.array([[[0, 1], [2, 3]]], dtype=np.uint8)
    attributes = palette(table, "<")
    for name in ("Red", "Green", "Blue"):
        attributes[f"{name}PaletteColorLookupTableDescriptor"] = [4, 0, 8]
        words = attributes[f"{name}PaletteColorLookupTableData"]
        attributes[f"{name}PaletteColorLookupTableData"] = words[::2]
    loop = open_loop(write_loop(indices, **attributes))
    np.testing.assert_array_equal(loop.frame(0), table[indices[0]])


def test_a_palette_without_its_table_is_refused(write_loop):
    pixels = RAMP.astype(np.uint8)
    assert "palette" in refusal(write_loop(pixels, PhotometricInterpretation="PALETTE COLOR"))


def test_bits_above_the_stored_ones_are_cleared(write_loop):
    stored = (RAMP | 0xF000).tobytes()
    loop = open_loop(write_loop(RAMP, value=stored, bits_stored=12))
    np.testing.assert_array_equal(loop.frame(2), RAMP[2])


def test_clearing_unused_bits_keeps_the_sign(write_loop):
    pixels = np.array([[[-2048, -1], [0, 2047]]], dtype=np.int16)
    stored = (pixels.view(np.uint16) & 0x0FFF).tobytes()
    loop = open_loop(write_loop(pixels, value=stored, bits_stored=12))
    np.testing.assert_array_equal(loop.frame(0), pixels[0])


@pytest.mark.parametrize("syntax", NATIVE)
def test_a_view_shows_the_file_itself(write_loop, syntax):
    loop = open_loop(write_loop(RAMP, syntax=syntax))
    view = loop.view(1)
    if syntax == ExplicitVRBigEndian:
        assert view is None
        return
    np.testing.assert_array_equal(view, RAMP[1])
    assert (view.dtype, view.flags.owndata, view.flags.writeable) == (np.uint16, False, False)
    assert np.shares_memory(view, loop.view(1))


@pytest.mark.parametrize("dtype", [np.uint16, np.int16])
def test_a_view_is_offered_only_where_no_bit_has_to_change(write_loop, dtype):
    pixels = RAMP.astype(dtype)
    pixels[1] |= 0x1000
    loop = open_loop(write_loop(pixels, bits_stored=12))
    np.testing.assert_array_equal(loop.view(0), pixels[0])
    assert loop.view(1) is None
    np.testing.assert_array_equal(loop.frame(1), RAMP[1])


def test_a_colour_view_needs_interleaved_rgb(write_loop):
    np.testing.assert_array_equal(open_loop(write_loop(COLOUR)).view(1), COLOUR[1])
    assert open_loop(write_loop(COLOUR, PlanarConfiguration=1)).view(1) is None
    assert open_loop(write_loop(COLOUR, PhotometricInterpretation="YBR_FULL")).view(1) is None


def test_a_palette_has_no_view(write_loop):
    table = np.zeros((3, 3), dtype=int)
    indices = np.zeros((1, 2, 2), dtype=np.uint8)
    assert open_loop(write_loop(indices, **palette(table, "<"))).view(0) is None


def test_a_file_replaced_by_another_is_noticed(write_loop, tmp_path):
    path = write_loop(RAMP)
    loop = open_loop(path)
    write_loop(RAMP[::-1], name="other.dcm").replace(path)
    with pytest.raises(LoopError, match="was changed since it was opened"):
        loop.frame(0)


def test_reading_needs_no_positioned_reading(write_loop, monkeypatch):
    monkeypatch.delattr("os.preadv")
    monkeypatch.delattr("os.pread")
    loop = open_loop(write_loop(RAMP))
    with ThreadPoolExecutor(4) as pool:
        frames = list(pool.map(loop.frame, [0, 1, 2] * 20))
    np.testing.assert_array_equal(np.stack(frames[:3]), RAMP)


def test_a_single_image_is_a_loop_of_one_frame(write_loop):
    loop = open_loop(write_loop(RAMP[:1], NumberOfFrames=None))
    assert loop.frames == 1
    np.testing.assert_array_equal(loop.frame(0), RAMP[0])


def test_frames_are_read_only(write_loop):
    frame = open_loop(write_loop()).frame(0)
    with pytest.raises(ValueError, match="read-only"):
        frame[0, 0] = 1


@pytest.mark.parametrize("n", [-1, 3])
def test_a_frame_that_does_not_exist_is_refused(write_loop, n):
    loop = open_loop(write_loop())
    with pytest.raises(LoopError, match=rf"no frame {n}: it has 3, counted from 0 to 2"):
        loop.frame(n)


def test_many_threads_see_the_same_pixels(write_loop):
    pixels = np.random.default_rng(5).integers(0, 4096, (40, 16, 16), dtype=np.uint16)
    loop = open_loop(write_loop(pixels))
    order = list(range(40)) * 3
    with ThreadPoolExecutor(4) as pool:
        frames = list(pool.map(loop.frame, order))
    np.testing.assert_array_equal(np.stack(frames), pixels[order])


def test_the_header_needs_no_pixels(write_loop):
    path = write_loop(RAMP)
    content = path.read_bytes()
    cut = content[: -RAMP.nbytes]
    path.write_bytes(cut)
    header = read_header(path)
    assert (header.frames, header.rows, header.columns) == (3, 4, 5)
    assert any("enough for 0" in sentence for sentence in header.warnings)


def test_native_data_cut_short_leave_the_whole_frames_readable(write_loop):
    path = write_loop(RAMP)
    path.write_bytes(path.read_bytes()[:-30])
    loop = open_loop(path)
    np.testing.assert_array_equal(loop.frame(1), RAMP[1])
    for reach in (loop.frame, loop.view):
        with pytest.raises(LoopError, match=r"frame 2 \(DICOM frame 3\) is absent") as refused:
            reach(2)
        assert "claims 3 frames of 40 bytes but the file holds 90 bytes" in str(refused.value)
    assert len(loop.header.warnings) == 1


def test_native_data_without_one_whole_frame_are_refused(write_loop):
    path = write_loop(RAMP)
    path.write_bytes(path.read_bytes()[:-90])
    assert "enough for 0" in refusal(path)


def test_more_frames_claimed_than_stored_are_not_allocated(write_loop):
    loop = open_loop(write_loop(RAMP, NumberOfFrames=90_000))
    np.testing.assert_array_equal(loop.frame(2), RAMP[2])
    with pytest.raises(LoopError, match="enough for 3"):
        loop.frame(3)


def test_more_frames_stored_than_claimed_are_noted(write_loop):
    loop = open_loop(write_loop(RAMP, NumberOfFrames=2))
    assert loop.frames == 2
    assert any("1 frames more than the 2" in sentence for sentence in loop.header.warnings)


def test_a_file_that_shrinks_after_opening_is_noticed(write_loop):
    path = write_loop(RAMP)
    loop = open_loop(path)
    path.write_bytes(path.read_bytes()[:-10])
    with pytest.raises(LoopError, match="was changed since it was opened"):
        loop.frame(2)


def test_a_file_that_vanishes_after_opening_is_noticed(write_loop):
    path = write_loop(RAMP)
    loop = open_loop(path)
    path.unlink()
    with pytest.raises(LoopError, match="cannot be read any more"):
        loop.frame(0)


def test_what_is_no_loop_is_refused(write_loop, tmp_path):
    (tmp_path / "empty").write_bytes(b"")
    (tmp_path / "text").write_text("hello" * 100)
    (tmp_path / "short").write_bytes(b"\0" * 40)
    (tmp_path / "mark").write_bytes(b"\0" * 128 + b"DICM")
    assert "is a folder" in refusal(tmp_path)
    assert "does not exist" in refusal(tmp_path / "nothing")
    assert "is empty" in refusal(tmp_path / "empty")
    assert "not a DICOM file" in refusal(tmp_path / "text")
    assert "not a DICOM file" in refusal(tmp_path / "short")
    assert "transfer syntax" in refusal(tmp_path / "mark")
    assert "no pixel data" in refusal(write_loop(PixelData=None))
    assert "cannot be opened" in refusal(tmp_path / ("long" * 100))
    if hasattr(os, "mkfifo"):
        os.mkfifo(tmp_path / "pipe")
        assert "is not a file" in refusal(tmp_path / "pipe")


def test_a_deflated_file_without_its_meta_length_is_refused(write_loop):
    path = write_loop(syntax=DeflatedExplicitVRLittleEndian)
    content = path.read_bytes()
    # The group length element is the first twelve bytes after the mark.
    path.write_bytes(content[:132] + content[144:])
    assert "no file meta length" in refusal(path)


def test_a_palette_in_32_bits_is_refused(write_loop):
    pixels = RAMP.astype(np.uint32)
    assert "PALETTE COLOR in 32 bits" in refusal(
        write_loop(pixels, PhotometricInterpretation="PALETTE COLOR")
    )


def test_a_signed_palette_is_refused(write_loop):
    pixels = RAMP.astype(np.int16)
    assert "unsigned" in refusal(write_loop(pixels, PhotometricInterpretation="PALETTE COLOR"))


def test_a_loop_shows_its_file_and_shape(write_loop):
    assert repr(open_loop(write_loop())) == "<Loop loop.dcm: (3, 4, 5) uint16>"


@pytest.mark.parametrize(
    ("attributes", "words"),
    [
        ({"Rows": None}, "Rows is missing"),
        ({"Rows": 0}, "0 × 5 pixels"),
        ({"Rows": 65535, "Columns": 65535}, "65535 × 65535 pixels"),
        ({"BitsAllocated": 12}, "12 bits are allocated"),
        ({"BitsStored": 17}, "17 bits are stored in 16"),
        ({"HighBit": 11}, "the high bit is 11"),
        ({"PixelRepresentation": 2}, "pixel representation is 2"),
        ({"SamplesPerPixel": 3}, "MONOCHROME2 has 3 samples"),
        ({"PhotometricInterpretation": "HSV"}, "'HSV' is not one"),
        ({"PhotometricInterpretation": None}, "'' is not one"),
        ({"PhotometricInterpretation": "RGB", "SamplesPerPixel": 3}, "RGB in 16 bits"),
        ({"NumberOfFrames": b"abc"}, "NumberOfFrames"),
        ({"NumberOfFrames": 0}, "NumberOfFrames"),
        ({"NumberOfFrames": -4}, "NumberOfFrames"),
        ({"NumberOfFrames": 100_001}, "NumberOfFrames"),
        ({"SOPInstanceUID": ""}, "no SOP Instance UID"),
    ],
)
def test_contradictory_image_attributes_are_refused(write_loop, attributes, words):
    path = write_loop(RAMP, **attributes)
    if "SOPInstanceUID" in attributes:
        uid = b"1.2.826.0.1.3680043.10.511.1"
        path.write_bytes(path.read_bytes().replace(uid, b"\0" * len(uid)))
    assert words in refusal(path)


def test_random_damage_never_escapes_as_another_error(write_loop, tmp_path):
    content = bytearray(write_loop(RAMP, FrameTime=33.3).read_bytes())
    rng = np.random.default_rng(11)
    broken = tmp_path / "broken.dcm"
    for _ in range(400):
        damaged = bytearray(content)
        for place in rng.integers(132, len(content), 6):
            damaged[place] = rng.integers(256)
        broken.write_bytes(damaged[: rng.integers(140, len(content) + 1)])
        try:
            loop = open_loop(broken)
            loop.frame(loop.frames - 1)
        except LoopError as error:
            assert str(error)  # noqa: PT017  either outcome is right, any other error is not


def test_a_deflated_file_that_grows_without_end_is_refused(write_loop, monkeypatch):
    path = write_loop(np.zeros((4, 64, 64), np.uint16), syntax=DeflatedExplicitVRLittleEndian)
    monkeypatch.setattr(dicom_file, "LARGEST_IN_MEMORY", 4096)
    assert "inflates to more" in refusal(path)
