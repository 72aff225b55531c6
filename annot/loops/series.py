"""A series of single images as one loop: the same place seen one file after another."""

import threading
from collections import OrderedDict
from collections.abc import Iterable
from dataclasses import dataclass, replace
from itertools import pairwise
from pathlib import Path
from typing import Any

from pydicom.valuerep import DT

from annot.errors import LoopError
from annot.loops.attributes import Attributes
from annot.loops.dicom_file import DicomFile, parse_file
from annot.loops.display import Display
from annot.loops.display_reading import read_display
from annot.loops.header import LoopHeader
from annot.loops.header_reading import describe
from annot.loops.loop import Loop, open_loop
from annot.loops.pixel_layout import PixelArray, PixelLayout
from annot.loops.timing import FrameTimes, StatedTiming, frame_times

# Decoded frames are kept elsewhere; this only spares parsing a header again right away.
_LOOPS_OPEN = 8
# What has to be the same in all files for one scale to hold on every frame.
_SAME = {
    "series_instance_uid": "belongs to another series",
    "sop_class_uid": "is another kind of image",
    "modality": "is of another modality",
    "rows": "has another number of rows",
    "columns": "has another number of columns",
    "samples_per_pixel": "has other colours",
    "photometric": "has other colours",
    "bits_allocated": "has another pixel type",
    "bits_stored": "has another pixel type",
    "pixel_representation": "has another pixel type",
    "xray": "was taken with another X-ray geometry",
    "regions": "has other ultrasound regions",
    "pixel_spacing_mm": "has another pixel spacing",
}
# A slice through the body; slices side by side are no loop.
_PLACE = ("ImagePositionPatient", "ImageOrientationPatient")
_TIMES = (
    ("AcquisitionDateTime", None),
    ("AcquisitionDate", "AcquisitionTime"),
    ("ContentDate", "ContentTime"),
)


@dataclass(frozen=True, slots=True, kw_only=True)
class _Image:
    header: LoopHeader
    layout: PixelLayout
    display: Display
    number: int | None
    moments: tuple[DT | None, ...]
    place: tuple[str, ...]


class SeriesFrames:
    """Frame `n` is the only frame of file `n`; a few files stay open."""

    fault: str | None = None

    def __init__(self, headers: tuple[LoopHeader, ...]) -> None:
        self._headers = headers
        self._open: OrderedDict[int, Loop] = OrderedDict()
        self._lock = threading.Lock()

    def read(self, frame: int) -> PixelArray:
        """Decode one file's frame.

        Raises
        ------
        LoopError
            If the file cannot be read or was replaced by another image.
        """
        return self._loop(frame).frame(0)

    def view(self, frame: int) -> PixelArray | None:
        """Look at one file's frame where it lies, if it can be."""
        return self._loop(frame).view(0)

    def _loop(self, frame: int) -> Loop:
        with self._lock:
            if frame in self._open:
                self._open.move_to_end(frame)
                return self._open[frame]
        loop = open_loop(self._headers[frame].path)
        if loop.header.sop_instance_uid != self._headers[frame].sop_instance_uid:
            raise LoopError(
                f"{loop.header.path.name} holds another image now: open the series again."
            )
        with self._lock:
            self._open[frame] = loop
            if len(self._open) > _LOOPS_OPEN:
                self._open.popitem(last=False)
        return loop


class SeriesLoop(Loop):
    """A loop whose frames are images of their own; `reference` tells which.

    All are shown as the first image asks, so that brightness changes only where the images do.
    """

    def __init__(
        self,
        header: LoopHeader,
        layout: PixelLayout,
        images: tuple[LoopHeader, ...],
        *,
        display: Display,
    ) -> None:
        super().__init__(header, layout, SeriesFrames(images), display=display)
        self.images = images


def open_series(paths: Iterable[Path | str]) -> SeriesLoop:
    """Open the single images of one series as one loop.

    Parameters
    ----------
    paths
        The files, in any order; frames follow the instance number, or the time of acquisition
        where instance numbers are missing or repeated.

    Returns
    -------
    SeriesLoop
        Its header is the first image's, with the times of all; each frame's own identifier is told
        by `SeriesLoop.reference`.

    Raises
    ------
    LoopError
        If a file is no single image, or differs from the first in what a measurement relies on.
    """
    images = [_image(parse_file(Path(path))) for path in paths]
    if not images:
        raise LoopError("A series needs at least one file: name some.")
    _check_alike(images)
    images = _in_order(images)
    headers = tuple(image.header for image in images)
    times, warnings = _times(images)
    warnings = (*warnings, *_gaps(images))
    notes = dict.fromkeys((*(one for header in headers for one in header.warnings), *warnings))
    header = replace(
        headers[0],
        frames=len(headers),
        frame_times=times,
        images=tuple(one.sop_instance_uid for one in headers),
        warnings=tuple(notes),
    )
    return SeriesLoop(header, images[0].layout, headers, display=images[0].display)


def _image(file: DicomFile) -> _Image:
    header, layout = describe(file)
    if header.frames != 1:
        raise LoopError(
            f"{file.path.name} is a loop of {header.frames} frames itself: open it on its own."
        )
    attributes = Attributes(file.dataset, [])
    return _Image(
        header=header,
        layout=layout,
        display=read_display(attributes, layout),
        number=attributes.whole("InstanceNumber"),
        moments=tuple(_moment(attributes, *keywords) for keywords in _TIMES),
        place=tuple(value for keyword in _PLACE for value in attributes.texts(keyword)),
    )


def _moment(attributes: Attributes, date: str, time: str | None) -> DT | None:
    stated = attributes.text(date)
    if stated is not None and time is not None:
        clock = attributes.text(time)
        stated = None if clock is None else stated + clock
    try:
        return DT(stated) if stated else None
    except ValueError:
        return None


def _check_alike(images: list[_Image]) -> None:
    first, seen = images[0].header, set()
    for image in images:
        for field, words in _SAME.items():
            if getattr(image.header, field) != getattr(first, field):
                raise LoopError(
                    f"{image.header.path.name} {words} than {first.path.name}, so the two are not "
                    "frames of one loop: open them apart."
                )
        if image.place != images[0].place:
            raise LoopError(
                f"{image.header.path.name} shows another slice than {first.path.name}, so the two "
                "are not frames of one loop: open them apart."
            )
        uid = image.header.sop_instance_uid
        if uid in seen:
            raise LoopError(
                f"{image.header.path.name} is the same image as another file of the series: name "
                "each image once."
            )
        seen.add(uid)


def _in_order(images: list[_Image]) -> list[_Image]:
    numbers = [image.number for image in images]
    if None not in numbers and len(set(numbers)) == len(numbers):
        return sorted(images, key=lambda image: image.number or 0)
    for place in range(len(_TIMES)):
        moments: list[Any] = [image.moments[place] for image in images]
        if None not in moments and len(set(moments)) == len(moments):
            return sorted(images, key=lambda image, at=place: image.moments[at])  # type: ignore[misc]  # none is None
    if len(images) == 1:
        return images
    raise LoopError(
        f"{images[0].header.path.name} and the other files of its series have neither instance "
        "numbers nor acquisition times that put them in order: open them apart."
    )


def _gaps(images: list[_Image]) -> tuple[str, ...]:
    """Say where an image may be missing: every later frame would have another number with it."""
    for earlier, later in pairwise(image.number for image in images):
        if earlier is not None and later is not None and later - earlier > 1:
            return (
                f"The instance numbers go from {earlier} to {later}: check that no image of the "
                "series is missing, or later frames are counted too low.",
            )
    return ()


def _times(images: list[_Image]) -> tuple[FrameTimes, tuple[str, ...]]:
    for place, (date, time) in enumerate(_TIMES):
        moments: list[Any] = [image.moments[place] for image in images]
        if None not in moments:
            since = [(one - moments[0]).total_seconds() * 1000.0 for one in moments]
            return frame_times(
                StatedTiming(frames=len(images), acquired_ms=since, acquired_source=time or date)
            )
    return FrameTimes(times_ms=None, source="none"), ()
