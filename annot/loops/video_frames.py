"""Loops stored as one video stream (MPEG-2, MPEG-4 AVC/H.264, HEVC), decoded through PyAV.

A frame depends on those before it, so reading goes forward; a step back starts at the key frame
before. PyAV is the extra `video`: its wheels carry libraries under the LGPL and GPL.
"""

import io
import threading
from bisect import bisect_right
from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any

from annot.errors import LoopError
from annot.loops.byte_source import ByteSource
from annot.loops.dicom_file import DicomFile, PixelElement
from annot.loops.frame_index import Fragment, walk_fragments
from annot.loops.pixel_layout import PixelArray, PixelLayout
from annot.loops.transfer_syntaxes import syntax_name


class FragmentStream(io.RawIOBase):
    """The fragments of a video as one seekable stream; nothing is kept in memory."""

    def __init__(self, source: ByteSource, fragments: tuple[Fragment, ...]) -> None:
        self._source = source
        self._fragments = fragments
        self._starts = [0]
        for fragment in fragments:
            self._starts.append(self._starts[-1] + fragment.length)
        self._at = 0

    def readable(self) -> bool:
        """Say that it can be read."""
        return True

    def seekable(self) -> bool:
        """Say that it can be read from anywhere."""
        return True

    def tell(self) -> int:
        """Give the position."""
        return self._at

    def seek(self, offset: int, whence: int = io.SEEK_SET) -> int:
        """Go to a position."""
        base = {io.SEEK_SET: 0, io.SEEK_CUR: self._at, io.SEEK_END: self._starts[-1]}[whence]
        self._at = max(0, base + offset)
        return self._at

    def readinto(self, buffer: Any) -> int:
        """Fill a buffer from the fragment at the position."""
        number = bisect_right(self._starts, self._at) - 1
        if number >= len(self._fragments):
            return 0
        within = self._at - self._starts[number]
        count = min(len(buffer), self._fragments[number].length - within)
        offset = self._fragments[number].offset + within
        got = self._source.read_into(offset, memoryview(buffer)[:count])
        self._at += got
        return got


@dataclass(frozen=True, slots=True, kw_only=True)
class _Contents:
    """What a video says of itself without decoding: its size, and the time of each frame."""

    rows: int
    columns: int
    times: tuple[int, ...]
    key_times: tuple[int, ...]
    timed: bool
    seekable: bool


class VideoFrames:
    """The frames of a video, counted once and decoded forward; threads take turns.

    Parameters
    ----------
    file
        The parsed file.
    layout
        The header's pixel layout.
    fragments
        Where the video lies.
    """

    def __init__(
        self, file: DicomFile, layout: PixelLayout, fragments: tuple[Fragment, ...]
    ) -> None:
        self._file = file
        self._layout = layout
        self._fragments = fragments
        self._lock = threading.Lock()
        self._coming: Iterator[tuple[int, PixelArray]] | None = None
        self._next = 0
        self._contents = self._look()
        self.fault = self._count_fault()

    @property
    def size(self) -> tuple[int, int]:
        """Rows and columns that the video states."""
        return self._contents.rows, self._contents.columns

    def read(self, frame: int) -> PixelArray:
        """Decode up to one frame and give it as 8-bit RGB.

        Raises
        ------
        LoopError
            If the video does not hold the frame or is damaged before it.
        """
        name = self._file.path.name
        if frame >= len(self._contents.times):
            raise LoopError(
                f"{name}: frame {frame} (DICOM frame {frame + 1}) is absent: {self.fault}."
            )
        with self._lock:
            try:
                return self._forward_to(frame)
            except (OSError, LoopError):
                self._coming = None
                raise
            except Exception as error:
                self._coming = None
                raise LoopError(
                    f"{name}: frame {frame} (DICOM frame {frame + 1}) cannot be decoded "
                    f"({type(error).__name__}): the video is damaged; copy the file again."
                ) from error

    def view(self, _frame: int) -> PixelArray | None:
        """Say that a frame of a video cannot be looked at where it lies."""
        return None

    def _forward_to(self, frame: int) -> PixelArray:
        wanted = self._contents.times[frame]
        if self._coming is None or not 0 <= frame - self._next <= self._far():
            self._coming = self._decoded_from(frame)
        for time, pixels in self._coming:
            if time >= wanted:
                self._next = frame + 1
                if time > wanted:
                    break
                return pixels
        raise LoopError(
            f"{self._file.path.name}: frame {frame} (DICOM frame {frame + 1}) is not in the video "
            "though it is listed there; copy the file again."
        )

    def _far(self) -> int:
        """Tell how far forward decoding on is cheaper than starting at a key frame."""
        frames, keys = len(self._contents.times), len(self._contents.key_times)
        return max(1, frames // max(1, keys)) if self._contents.seekable else frames

    def _decoded_from(self, frame: int) -> Iterator[tuple[int, PixelArray]]:
        with self._opened() as container:
            stream = container.streams.video[0]
            if frame and self._contents.seekable:
                container.seek(self._contents.times[frame], stream=stream, backward=True)
            for number, picture in enumerate(container.decode(stream)):
                time = picture.pts if self._contents.timed else number
                yield time, picture.to_ndarray(format="rgb24")

    def _look(self) -> _Contents:
        """List the frames by their packets; only a bare stream has to be decoded for it."""
        try:
            with self._opened() as container:
                stream = container.streams.video[0]
                packets = [one for one in container.demux(stream) if one.size]
                timed = all(one.pts is not None for one in packets)
                # Only this container says for certain where decoding can start.
                seekable = timed and "mp4" in container.format.name
                return _Contents(
                    rows=stream.codec_context.height,
                    columns=stream.codec_context.width,
                    times=tuple(sorted(one.pts for one in packets)) if timed else self._count(),
                    key_times=tuple(one.pts for one in packets if one.is_keyframe and seekable),
                    timed=timed,
                    seekable=seekable,
                )
        except Exception as error:
            raise LoopError(
                f"{self._file.path.name}: the video cannot be read as "
                f"{syntax_name(str(self._file.transfer_syntax))} ({type(error).__name__}): copy "
                "the file again from where it was stored."
            ) from error

    def _count(self) -> tuple[int, ...]:
        """Count the frames of a bare stream, whose packets need not be frames, by decoding it."""
        with self._opened() as container:
            return tuple(number for number, _ in enumerate(container.decode(video=0)))

    def _opened(self) -> Any:
        import av

        return av.open(FragmentStream(self._file.source, self._fragments), mode="r")

    def _count_fault(self) -> str | None:
        held, claimed = len(self._contents.times), self._layout.frames
        if held == claimed:
            return None
        return f"the header claims {claimed} frames but the video holds {held}"


def video_frames(file: DicomFile, pixels: PixelElement, layout: PixelLayout) -> VideoFrames:
    """Find the frames of a video.

    Raises
    ------
    LoopError
        If there is no whole video, or it is of another size than the header says.
    """
    name = file.path.name
    fragments = walk_fragments(file.source, pixels.offset) if pixels.length is None else ()
    if not fragments:
        raise LoopError(f"{name} holds no whole video: copy it again from where it was stored.")
    if layout.samples_per_pixel != 3:
        raise LoopError(f"{name}: a video in grey is not read; export the loop as frames.")
    video = VideoFrames(file, layout, fragments)
    if video.size != (layout.rows, layout.columns):
        raise LoopError(
            f"{name}: the video is {video.size[0]} × {video.size[1]} pixels but the header says "
            f"{layout.rows} × {layout.columns}: export the file again."
        )
    return video
