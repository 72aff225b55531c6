"""Loops stored as a video; PyAV's own encoders make them, and the frames are known."""

import io
from concurrent.futures import ThreadPoolExecutor

import numpy as np
import pytest
from pydicom.encaps import encapsulate

from annot.errors import LoopError
from annot.loops import LoopArray, open_loop
from annot.loops.byte_source import MemoryBytes
from annot.loops.frame_index import Fragment
from annot.loops.video_frames import FragmentStream

av = pytest.importorskip("av")
BASE = "1.2.840.10008.1.2.4."
FRAMES, ROWS, COLUMNS = 23, 48, 64


def scene() -> np.ndarray:
    """Frames that tell their number: a grey level and a bar at its place."""
    frames = np.zeros((FRAMES, ROWS, COLUMNS, 3), dtype=np.uint8)
    for n, frame in enumerate(frames):
        frame[...] = 40 + 7 * n
        frame[:, 2 * n : 2 * n + 8] = 220
    return frames


SCENE = scene()


def video(codec: str = "libx264", container: str = "mp4", **options: str) -> bytes:
    stream = io.BytesIO()
    with av.open(stream, "w", format=container) as target:
        track = target.add_stream(codec, rate=25, options={"g": "6", **options})
        track.width, track.height, track.pix_fmt = COLUMNS, ROWS, "yuv420p"
        for frame in SCENE:
            target.mux(track.encode(av.VideoFrame.from_ndarray(frame, format="rgb24")))
        target.mux(track.encode(None))
    return stream.getvalue()


def write_video(write_loop, content: bytes, number: str = "102", pieces: int = 1, **attributes):
    size = -(-len(content) // pieces)
    fragments = [content[at : at + size] for at in range(0, len(content), size)]
    value = encapsulate([b"".join(fragments)], fragments_per_frame=pieces, has_bot=False)
    stated = {"PhotometricInterpretation": "YBR_PARTIAL_420", **attributes}
    return write_loop(SCENE, syntax=BASE + number, streams=[content], value=value, **stated)


def number_of(frame: np.ndarray) -> int:
    """Tell a frame's number from its lower right corner, which no bar covers until late."""
    return round((float(np.median(frame)) - 40) / 7)


H264 = video()


@pytest.mark.parametrize(
    ("number", "codec", "container", "pieces"),
    [
        ("100", "mpeg2video", "mpegts", 1),
        ("102", "libx264", "mp4", 1),
        ("102.1", "libx264", "mp4", 3),
        ("104", "libx264", "mpegts", 1),
        ("102", "libx264", "h264", 1),
        ("107", "libx265", "mp4", 1),
        ("107", "libx265", "hevc", 2),
    ],
)
def test_every_frame_is_the_one_asked_for_in_any_order(
    write_loop, number, codec, container, pieces
):
    options = {"x265-params": "log-level=none"} if codec == "libx265" else {}
    path = write_video(write_loop, video(codec, container, **options), number, pieces)
    loop = open_loop(path)
    assert (loop.shape, loop.dtype) == (SCENE.shape, np.uint8)
    assert loop.header.lossy is True
    for n in (0, 1, 2, 9, 3, 22, 0, 21, 12, 13):
        assert number_of(loop.frame(n)) == n
        # Lossy and subsampled: only the size of the difference is known, from what was seen.
        assert np.abs(loop.frame(n).astype(int) - SCENE[n]).mean() < 6


def test_play_and_threads_see_the_same_frames(write_loop):
    array = LoopArray(open_loop(write_video(write_loop, H264)))
    order = [*range(FRAMES), 5, 20, 3, 11] * 2
    with ThreadPoolExecutor(3) as pool:
        frames = list(pool.map(array.__getitem__, order))
    assert [number_of(frame) for frame in frames] == order


def test_a_wrong_count_leaves_the_real_frames_readable(write_loop):
    loop = open_loop(write_video(write_loop, H264, NumberOfFrames=30))
    assert number_of(loop.frame(22)) == 22
    assert "The header claims 30 frames but the video holds 23." in loop.header.warnings
    with pytest.raises(LoopError, match=r"frame 23 .* is absent: the header claims 30 frames"):
        loop.frame(23)
    assert loop.view(0) is None


def test_what_is_no_video_of_that_size_is_refused(write_loop):
    with pytest.raises(LoopError, match="cannot be read as MPEG-4"):
        open_loop(write_video(write_loop, b"nothing of the kind" * 20))
    with pytest.raises(LoopError, match="the video is 48 × 64 pixels but the header says 24 × 64"):
        open_loop(write_video(write_loop, H264, Rows=24))
    path = write_video(write_loop, H264)
    path.write_bytes(path.read_bytes()[:-400])
    with pytest.raises(LoopError, match="holds no whole video"):
        open_loop(path)
    grey = {"SamplesPerPixel": 1, "PhotometricInterpretation": "MONOCHROME2"}
    with pytest.raises(LoopError, match="a video in grey is not read"):
        open_loop(write_video(write_loop, H264, **grey))


def test_the_colours_of_videos_are_refused_elsewhere(write_loop):
    path = write_loop(SCENE, PhotometricInterpretation="YBR_PARTIAL_420")
    with pytest.raises(LoopError, match="YBR_PARTIAL_420 do not exist in the encoding"):
        open_loop(path)


def test_damage_inside_a_video_is_told_or_harmless(write_loop):
    content = bytearray(H264)
    start = content.index(b"mdat") + 8
    content[start + 200 : start + 1200] = bytes(1000)
    loop = open_loop(write_video(write_loop, bytes(content)))
    for n in (0, 8, 22, 1):
        try:
            assert loop.frame(n).shape == SCENE.shape[1:]
        except LoopError as error:
            assert "video" in str(error)  # noqa: PT017  either outcome is right


def test_fragments_read_as_one_stream():
    stream = FragmentStream(
        MemoryBytes(b"..abc..defgh"),
        (
            Fragment(offset=2, length=3, starts_image=False),
            Fragment(offset=7, length=5, starts_image=False),
        ),
    )
    assert stream.readable()
    assert stream.seekable()
    assert stream.read() == b"abcdefgh"
    assert (stream.seek(2), stream.read(3)) == (2, b"c")
    assert stream.read(3) == b"def"
    assert (stream.seek(-1, io.SEEK_END), stream.read(9), stream.tell()) == (7, b"h", 8)
    assert stream.read(1) == b""
