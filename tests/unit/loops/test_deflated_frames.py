"""Frames deflated one by one: no parser knows the encoding yet, Python's own zlib packs it."""

import zlib

import numpy as np
import pytest

from annot.errors import LoopError
from annot.loops import missing_decoder, open_loop, short_name

DEFLATED_FRAMES, JPEG = "1.2.840.10008.1.2.8.1", "1.2.840.10008.1.2.4.50"
RANDOM = np.random.default_rng(5)


@pytest.fixture
def write_deflated(write_loop):
    """Give a function that writes deflated streams; the writer only takes encodings it knows."""

    def write(pixels, streams, **attributes):
        path = write_loop(pixels, syntax=JPEG, streams=streams, **attributes)
        known, wanted = JPEG.encode(), DEFLATED_FRAMES.encode() + b"\0"
        content = path.read_bytes()
        assert content.count(known) == 1
        path.write_bytes(content.replace(known, wanted))
        return path

    return write


def packed(frame: np.ndarray, *, wbits=-15, end=zlib.Z_FINISH) -> bytes:
    deflater = zlib.compressobj(wbits=wbits)
    return deflater.compress(frame.tobytes()) + deflater.flush(end)


@pytest.mark.parametrize(
    ("shape", "dtype"), [((3, 5, 7), np.uint8), ((3, 4, 5), np.int16), ((2, 4, 5, 3), np.uint8)]
)
def test_every_frame_comes_back_as_it_was(write_deflated, shape, dtype):
    limits = np.iinfo(dtype)
    pixels = RANDOM.integers(limits.min, limits.max, shape, dtype=dtype, endpoint=True)
    streams = [packed(frame) for frame in pixels]
    loop = open_loop(write_deflated(pixels, streams))
    for n in reversed(range(loop.frames)):
        np.testing.assert_array_equal(loop.frame(n), pixels[n])
    assert missing_decoder(DEFLATED_FRAMES) is None
    assert short_name(DEFLATED_FRAMES) == "deflated frames"
    assert loop.header.transfer_syntax_name == "Deflated Image Frame Compression"


def test_planar_and_ybr_colours_are_unfolded_once(write_loop, write_deflated):
    ybr = RANDOM.integers(0, 256, (2, 4, 6, 3), dtype=np.uint8)
    planes = ybr.transpose(0, 3, 1, 2)
    stated = {"PhotometricInterpretation": "YBR_FULL", "PlanarConfiguration": 1}
    native = write_loop(ybr, value=planes.tobytes(), name="native.dcm", **stated)
    streams = [packed(frame) for frame in planes]
    deflated = write_deflated(ybr, streams, name="d.dcm", **stated)
    for n in range(2):
        np.testing.assert_array_equal(open_loop(deflated).frame(n), open_loop(native).frame(n))


@pytest.mark.parametrize(
    "broken",
    [
        lambda frame: packed(frame)[:-6],
        lambda frame: packed(frame[:-1]),
        lambda frame: packed(np.vstack([frame, frame])),
        lambda frame: packed(frame, wbits=15),
        lambda frame: packed(frame, end=zlib.Z_SYNC_FLUSH),
    ],
    ids=["cut", "too little", "too much", "another wrapping", "without an end"],
)
def test_a_frame_that_is_not_whole_is_refused_and_the_others_are_read(write_deflated, broken):
    pixels = RANDOM.integers(0, 4096, (2, 8, 9), dtype=np.uint16)
    streams = [packed(pixels[0]), broken(pixels[1])]
    loop = open_loop(write_deflated(pixels, streams))
    np.testing.assert_array_equal(loop.frame(0), pixels[0])
    with pytest.raises(LoopError, match=r"frame 1 .* cannot be decoded as Deflated Image Frame"):
        loop.frame(1)
