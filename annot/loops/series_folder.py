"""A folder, on disk or in an archive, whose files are the frames of one loop."""

from dataclasses import replace
from itertools import pairwise
from pathlib import Path

from annot.errors import LoopError
from annot.loops.archives import archive_folder
from annot.loops.disc_index import NAME
from annot.loops.finding import is_marked
from annot.loops.header import LoopHeader
from annot.loops.series import SeriesLoop, open_series
from annot.loops.timing import LONGEST_FRAME_MS

_NO_TIMES = (
    "The files do not say when each was taken: check that they are frames of one run, not stills."
)


def open_folder(folder: Path | str) -> SeriesLoop:
    """Open a folder that holds one series of single images as one loop.

    Parameters
    ----------
    folder
        A folder, a zip archive, or a folder in one. The DICOM files directly in it are the frames;
        folders below it are not looked into.

    Returns
    -------
    SeriesLoop
        Its header's path is the folder.

    Raises
    ------
    LoopError
        If the files are not the frames of exactly one loop; the sentence says why.
    """
    place = Path(folder)
    files = marked_files(place)
    if not files:
        raise LoopError(f"{place.name} holds no DICOM file itself: name a file or another folder.")
    try:
        loop = open_series(files)
    except LoopError as fault:
        raise LoopError(f"{place.name} does not open as one loop: {fault.message}") from fault
    _check_pace(place, loop.header)
    notes = loop.header.warnings
    if loop.header.frame_times.times_ms is None and loop.frames > 1:
        notes = (*notes, _NO_TIMES)
    loop.header = replace(loop.header, path=place, warnings=notes)
    return loop


def is_folder(path: Path) -> bool:
    """Tell whether a path is a folder, a zip archive, or a folder in one."""
    try:
        return path.is_dir() or archive_folder(path) is not None
    except (LoopError, OSError):
        return False  # opening it will say why


def marked_files(folder: Path) -> list[Path]:
    """List the DICOM files directly in a folder by name.

    Raises
    ------
    LoopError
        If the folder cannot be listed.
    """
    try:
        packed = archive_folder(folder)
        held = (path for path in folder.iterdir() if path.is_file()) if packed is None else packed
        return [path for path in sorted(held) if path.name != NAME and is_marked(path)]
    except OSError as error:
        raise LoopError(f"{folder} cannot be listed: {error.strerror or error}.") from error


def _check_pace(folder: Path, header: LoopHeader) -> None:
    """Refuse stills: images of one series that lie further apart than frames of a loop do."""
    times = header.frame_times.times_ms or ()
    longest = max((later - earlier for earlier, later in pairwise(times)), default=0.0)
    if longest > LONGEST_FRAME_MS:
        raise LoopError(
            f"{folder.name} does not open as one loop: its images lie up to {longest / 1000:.0f} s "
            "apart, so they are stills: open them one by one."
        )
