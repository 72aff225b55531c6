"""Compressed loops: fragments into frames (PS3.5 A.4), and frames that are not what they seem."""

import io
import struct
from concurrent.futures import ThreadPoolExecutor
from dataclasses import replace

import numpy as np
import pytest
from PIL import Image
from pydicom.encaps import encapsulate, encapsulate_extended
from pydicom.pixels import get_encoder
from pydicom.uid import (
    JPEG2000Lossless,
    JPEGBaseline8Bit,
    JPEGExtended12Bit,
    RLELossless,
)

from annot.errors import LoopError
from annot.loops import open_loop
from annot.loops.stream_size import StreamSize, stream_size

RNG = np.random.default_rng(3)
GREY = (np.add.outer(np.arange(24), np.arange(32))[None] * [[[2]], [[3]], [[4]]]).astype(np.uint8)
DEEP = RNG.integers(0, 4096, (3, 24, 32), dtype=np.uint16)
COLOUR = np.stack([GREY, GREY[::-1], 255 - GREY], axis=-1)


def jpeg(frame: np.ndarray, kind: str = "JPEG", **options) -> bytes:
    stream = io.BytesIO()
    Image.fromarray(frame).save(stream, kind, **options)
    return stream.getvalue()


def rle(frame: np.ndarray) -> bytes:
    colour = frame.ndim == 3
    return get_encoder(RLELossless).encode(
        frame.tobytes(),
        rows=frame.shape[0],
        columns=frame.shape[1],
        samples_per_pixel=3 if colour else 1,
        bits_allocated=frame.dtype.itemsize * 8,
        bits_stored=frame.dtype.itemsize * 8,
        pixel_representation=0,
        photometric_interpretation="RGB" if colour else "MONOCHROME2",
        number_of_frames=1,
        planar_configuration=0,
    )


def decoded(stream: bytes) -> np.ndarray:
    return np.asarray(Image.open(io.BytesIO(stream)))


SIZED_GREY = StreamSize(rows=24, columns=32, components=1, bits=8)
SIZED_COLOUR = replace(SIZED_GREY, components=3)
GREY_STREAMS = [jpeg(frame, quality=90) for frame in GREY]


def write_value(write_loop, value: bytes, **attributes):
    """Write grey JPEG frames with a pixel data value made by hand."""
    return write_loop(
        GREY, syntax=JPEGBaseline8Bit, streams=GREY_STREAMS, value=value, **attributes
    )


def check_grey(loop, count: int = 3) -> None:
    for n in range(count):
        np.testing.assert_array_equal(loop.frame(n), decoded(GREY_STREAMS[n]))


@pytest.mark.parametrize("pixels", [GREY, DEEP, COLOUR], ids=["8 bit", "12 in 16", "RGB"])
def test_rle_is_exact(write_loop, pixels):
    bits = 12 if pixels is DEEP else None
    streams = [rle(frame) for frame in pixels]
    loop = open_loop(write_loop(pixels, syntax=RLELossless, streams=streams, bits_stored=bits))
    for n in (2, 0, 1):
        np.testing.assert_array_equal(loop.frame(n), pixels[n])
        assert not loop.frame(n).flags.writeable


def test_grey_jpeg_is_what_the_decoder_gives(write_loop):
    loop = open_loop(write_loop(GREY, syntax=JPEGBaseline8Bit, streams=GREY_STREAMS))
    assert loop.header.lossy is True
    check_grey(loop)


def test_lossy_pixels_called_lossless_are_noted(write_loop):
    path = write_loop(
        GREY, syntax=JPEGBaseline8Bit, streams=GREY_STREAMS, LossyImageCompression="00"
    )
    assert any("stored lossy" in sentence for sentence in open_loop(path).header.warnings)


def test_colour_jpeg_becomes_rgb(write_loop):
    streams = [jpeg(frame, quality=95, subsampling=1) for frame in COLOUR]
    loop = open_loop(
        write_loop(
            COLOUR,
            syntax=JPEGBaseline8Bit,
            streams=streams,
            PhotometricInterpretation="YBR_FULL_422",
        )
    )
    assert loop.dtype == np.uint8
    for n in range(3):
        # The colour conversions round differently; the decoded planes are the same.
        difference = loop.frame(n).astype(int) - decoded(streams[n])
        assert np.abs(difference).max() <= 2


def test_jpeg_2000_with_12_bits_in_16_is_exact(write_loop):
    streams = [jpeg(frame, "JPEG2000", irreversible=False, no_jp2=True) for frame in DEEP]
    loop = open_loop(write_loop(DEEP, syntax=JPEG2000Lossless, streams=streams, bits_stored=12))
    for n in range(3):
        np.testing.assert_array_equal(loop.frame(n), DEEP[n])


@pytest.mark.parametrize("has_table", [True, False])
@pytest.mark.parametrize("per_frame", [1, 2, 3])
def test_fragments_are_sorted_into_frames(write_loop, per_frame, has_table):
    value = encapsulate(GREY_STREAMS, fragments_per_frame=per_frame, has_bot=has_table)
    check_grey(open_loop(write_value(write_loop, value)))


def test_the_extended_offset_table_is_followed(write_loop):
    value, offsets, lengths = encapsulate_extended(GREY_STREAMS)
    path = write_value(
        write_loop, value, ExtendedOffsetTable=offsets, ExtendedOffsetTableLengths=lengths
    )
    check_grey(open_loop(path))


def test_a_wrong_offset_table_is_not_believed(write_loop):
    value = bytearray(encapsulate(GREY_STREAMS, fragments_per_frame=2))
    struct.pack_into("<I", value, 12, 4)  # the second frame would start inside the first
    check_grey(open_loop(write_value(write_loop, bytes(value))))


def test_all_fragments_of_a_single_image_belong_together(write_loop):
    value = encapsulate(GREY_STREAMS[:1], fragments_per_frame=4, has_bot=False)
    check_grey(open_loop(write_value(write_loop, value, NumberOfFrames=None)), count=1)


def test_frames_before_a_cut_stay_readable(write_loop):
    path = write_loop(GREY, syntax=JPEGBaseline8Bit, streams=GREY_STREAMS)
    path.write_bytes(path.read_bytes()[:-60])
    loop = open_loop(path)
    check_grey(loop, count=2)
    assert any("cut short and holds 2 whole" in sentence for sentence in loop.header.warnings)
    with pytest.raises(LoopError, match=r"frame 2 \(DICOM frame 3\) is absent: the file is cut"):
        loop.frame(2)


@pytest.mark.parametrize("has_table", [True, False])
def test_a_cut_inside_a_frame_of_two_fragments_loses_that_frame_only(write_loop, has_table):
    value = encapsulate(GREY_STREAMS, fragments_per_frame=2, has_bot=has_table)
    path = write_value(write_loop, value)
    path.write_bytes(path.read_bytes()[:-60])
    loop = open_loop(path)
    check_grey(loop, count=2)
    with pytest.raises(LoopError, match="frame 2"):
        loop.frame(2)


def test_a_missing_end_mark_loses_nothing(write_loop):
    path = write_loop(GREY, syntax=JPEGBaseline8Bit, streams=GREY_STREAMS)
    path.write_bytes(path.read_bytes()[:-8])
    loop = open_loop(path)
    check_grey(loop)
    assert loop.header.warnings == ()


def test_too_many_frames_claimed_leave_the_real_ones_readable(write_loop):
    path = write_loop(GREY, syntax=JPEGBaseline8Bit, streams=GREY_STREAMS, NumberOfFrames=5)
    loop = open_loop(path)
    assert loop.frames == 5
    check_grey(loop)
    assert "The header claims 5 frames but the file holds 3." in loop.header.warnings
    with pytest.raises(LoopError, match="claims 5 frames but the file holds 3"):
        loop.frame(3)


def test_too_few_frames_claimed_are_noted(write_loop):
    path = write_loop(GREY, syntax=JPEGBaseline8Bit, streams=GREY_STREAMS, NumberOfFrames=2)
    loop = open_loop(path)
    check_grey(loop, count=2)
    assert "The header claims 2 frames but the file holds 3." in loop.header.warnings


def test_a_damaged_frame_does_not_spoil_the_others(write_loop):
    streams = [GREY_STREAMS[0], GREY_STREAMS[1][:80] + bytes(60), GREY_STREAMS[2]]
    loop = open_loop(write_loop(GREY, syntax=JPEGBaseline8Bit, streams=streams))
    np.testing.assert_array_equal(loop.frame(2), decoded(GREY_STREAMS[2]))
    with pytest.raises(LoopError, match=r"frame 1 \(DICOM frame 2\)"):
        loop.frame(1)


def test_a_stream_that_claims_another_size_is_not_decoded(write_loop):
    stream = bytearray(GREY_STREAMS[0])
    at = stream.index(b"\xff\xc0")
    stream[at + 5 : at + 9] = struct.pack(">HH", 60000, 60000)
    loop = open_loop(write_loop(GREY[:1], syntax=JPEGBaseline8Bit, streams=[bytes(stream)]))
    with pytest.raises(LoopError, match="60000 × 60000 pixels in its own words but 24 × 32"):
        loop.frame(0)


def test_a_colour_stream_called_grey_is_refused(write_loop):
    loop = open_loop(write_loop(GREY[:1], syntax=JPEGBaseline8Bit, streams=[jpeg(COLOUR[0])]))
    with pytest.raises(LoopError, match="3 colour components but the header says 1"):
        loop.frame(0)


def test_a_shallow_stream_in_a_deep_header_keeps_its_values(write_loop):
    stream = jpeg(GREY[0], "JPEG2000", irreversible=False, no_jp2=True)
    deep = GREY[:1].astype(np.uint16)
    loop = open_loop(write_loop(deep, syntax=JPEG2000Lossless, streams=[stream]))
    assert loop.frame(0).dtype == np.uint16
    np.testing.assert_array_equal(loop.frame(0), GREY[0])


def test_a_deep_stream_in_a_shallow_header_is_refused_rather_than_cut_off(write_loop):
    stream = jpeg(DEEP[0], "JPEG2000", irreversible=False, no_jp2=True)
    loop = open_loop(write_loop(GREY[:1], syntax=JPEG2000Lossless, streams=[stream]))
    with pytest.raises(LoopError, match="16 bits per sample but the header makes room for 8"):
        loop.frame(0)


def test_what_decodes_to_another_shape_is_refused(write_loop, monkeypatch):
    loop = open_loop(write_loop(GREY, syntax=JPEGBaseline8Bit, streams=GREY_STREAMS))
    monkeypatch.setattr("annot.loops.encapsulated_frames.decode_stream", lambda *_args: GREY)
    with pytest.raises(LoopError, match=r"decodes to \(3, 24, 32\) uint8 instead of"):
        loop.frame(0)


def test_fragments_without_an_image_are_refused(write_loop):
    loop = open_loop(write_loop(GREY[:1], syntax=JPEGBaseline8Bit, streams=[bytes(50)]))
    with pytest.raises(LoopError, match="no compressed image"):
        loop.frame(0)


def test_not_one_frame_is_refused_at_once(write_loop):
    with pytest.raises(LoopError, match="holds 0"):
        open_loop(write_value(write_loop, b"\xfe\xff\x00\xe0\0\0\0\0"))


def test_uncompressed_pixels_called_compressed_are_refused_and_the_reverse(write_loop):
    path = write_loop(GREY)
    own, other = b"1.2.840.10008.1.2.1\0", b"1.2.840.10008.1.2.5\0"
    path.write_bytes(path.read_bytes().replace(own, other, 1))
    with pytest.raises(LoopError, match="not compressed"):
        open_loop(path)
    path = write_loop(GREY, syntax=RLELossless, streams=[rle(frame) for frame in GREY])
    path.write_bytes(path.read_bytes().replace(other, own, 1))
    with pytest.raises(LoopError, match="in fragments"):
        open_loop(path)


def test_an_encoding_without_a_decoder_is_named(write_loop):
    path = write_loop(GREY, syntax=JPEGBaseline8Bit, streams=GREY_STREAMS)
    content = path.read_bytes()
    path.write_bytes(content.replace(b"1.2.840.10008.1.2.4.50", b"1.2.840.10008.1.2.4.99"))
    with pytest.raises(LoopError, match="No decoder is known"):
        open_loop(path)


@pytest.mark.parametrize("kept", [0.5, 0.9])
@pytest.mark.parametrize("kind", ["JPEG", "JPEG2000"])
def test_a_frame_whose_stream_stops_early_is_not_filled_up(write_loop, kind, kept):
    stream = jpeg(GREY[0], kind)
    syntax = JPEGBaseline8Bit if kind == "JPEG" else JPEG2000Lossless
    cut = stream[: int(len(stream) * kept)] + bytes(40)
    loop = open_loop(write_loop(GREY[:1], syntax=syntax, streams=[cut]))
    with pytest.raises(LoopError, match="its end mark is missing"):
        loop.frame(0)


@pytest.mark.parametrize("damage", ["count", "offset", "order", "short", "empty"])
def test_rle_segments_that_do_not_fit_are_refused(write_loop, damage):
    stream = bytearray(rle(DEEP[0]))
    if damage == "count":
        stream[0] = 3
    elif damage == "offset":
        stream[8:12] = struct.pack("<I", len(stream) + 1)
    elif damage == "order":
        stream[4:12] = stream[8:12] + stream[4:8]
    elif damage == "short":
        del stream[-200:]
    else:
        del stream[20:]
    path = write_loop(DEEP[:1], syntax=RLELossless, streams=[bytes(stream)], bits_stored=12)
    with pytest.raises(LoopError, match="cannot be decoded as RLE"):
        open_loop(path).frame(0)


def test_colours_that_only_jpeg_2000_knows_are_refused_elsewhere(write_loop):
    path = write_loop(COLOUR, PhotometricInterpretation="YBR_RCT")
    with pytest.raises(LoopError, match="YBR_RCT do not exist in the encoding Explicit"):
        open_loop(path)


def test_frames_in_one_fragment_are_found(write_loop):
    padded = [stream + b"\0" * (len(stream) % 2) for stream in GREY_STREAMS]
    check_grey(open_loop(write_value(write_loop, encapsulate([b"".join(padded)], has_bot=False))))


def test_a_compressed_frame_offers_no_view(write_loop):
    loop = open_loop(write_loop(GREY, syntax=JPEGBaseline8Bit, streams=GREY_STREAMS))
    assert loop.view(0) is None


def test_8_bit_jpeg_extended_is_read(write_loop):
    loop = open_loop(write_loop(GREY, syntax=JPEGExtended12Bit, streams=GREY_STREAMS))
    check_grey(loop)


def test_many_threads_decode_the_same_frames(write_loop):
    loop = open_loop(write_loop(GREY, syntax=JPEGBaseline8Bit, streams=GREY_STREAMS))
    order = [0, 1, 2] * 10
    with ThreadPoolExecutor(4) as pool:
        for n, frame in zip(order, pool.map(loop.frame, order), strict=True):
            np.testing.assert_array_equal(frame, decoded(GREY_STREAMS[n]))


@pytest.mark.parametrize(
    ("stream", "size"),
    [
        (GREY_STREAMS[0], replace(SIZED_GREY, colour="YCBCR")),  # Pillow writes a JFIF segment
        (jpeg(COLOUR[0], progressive=True), replace(SIZED_COLOUR, colour="YCBCR")),
        (jpeg(COLOUR[0], keep_rgb=True), replace(SIZED_COLOUR, colour="RGB")),
        (jpeg(COLOUR[0], "JPEG2000", no_jp2=True), SIZED_COLOUR),
        (jpeg(GREY[0], "JPEG2000", no_jp2=False), SIZED_GREY),
        (jpeg(DEEP[0], "JPEG2000"), replace(SIZED_GREY, bits=16)),
        (b"", None),
        (b"\xff\xd8", None),
        (b"\xff\xd8\xff\xc0\x00\x11\x08", None),
        (b"\xff\xd8\x00\x00\x00\x00", None),
        (b"\xff\x4f\xff\x51\x00\x29", None),
    ],
)
def test_a_stream_tells_its_size_before_it_is_decoded(stream, size):
    assert stream_size(stream) == size


def test_a_codestream_that_starts_off_the_grid_is_as_large_as_what_is_left():
    # SIZ of ISO/IEC 15444-1 A.5.1: grid 40 × 30, image from (8, 6), 12 bits signed.
    siz = struct.pack(">HH8IHBBB", 41, 0, 40, 30, 8, 6, 40, 30, 0, 0, 1, 0x8B, 1, 1)
    expected = StreamSize(rows=24, columns=32, components=1, bits=12, signed=True, whole=False)
    assert stream_size(b"\xff\x4f\xff\x51" + siz) == expected


def test_random_damage_never_escapes_as_another_error(write_loop, tmp_path):
    content = bytearray(
        write_loop(GREY, syntax=JPEGBaseline8Bit, streams=GREY_STREAMS).read_bytes()
    )
    rng = np.random.default_rng(7)
    broken = tmp_path / "broken.dcm"
    for _ in range(300):
        damaged = bytearray(content)
        for place in rng.integers(132, len(content), 8):
            damaged[place] = rng.integers(256)
        broken.write_bytes(damaged[: rng.integers(140, len(content) + 1)])
        try:
            loop = open_loop(broken)
            loop.frame(0)
        except LoopError as error:
            assert str(error)  # noqa: PT017  either outcome is right, any other error is not
