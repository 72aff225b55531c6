"""Find DICOM files below folders, always in the same order."""

import os
from collections.abc import Iterable, Iterator
from pathlib import Path

from annot.errors import LoopError
from annot.loops.dicom_file import is_dicom

# The index of a DICOM disc (PS3.10) carries the DICOM mark but no image.
_DISC_INDEX = "DICOMDIR"


def find_loops(paths: Iterable[Path | str]) -> Iterator[Path]:
    """Walk files and folders.

    Parameters
    ----------
    paths
        A file is handed on as it is, whatever it holds, so that opening it can say what is wrong.
        Of a folder, every file with the DICOM mark is handed on, folder by folder, by name.

    Yields
    ------
    Path
        Each file once.

    Raises
    ------
    LoopError
        If a path does not exist or a folder cannot be listed.
    """
    seen: set[Path] = set()
    for named in paths:
        for path in _below(Path(named)):
            real = path.resolve()
            if real not in seen:
                seen.add(real)
                yield path


def _below(path: Path) -> Iterator[Path]:
    if path.is_dir():
        for folder, subfolders, names in os.walk(path, onerror=_refuse):
            subfolders.sort()
            files = (Path(folder, name) for name in sorted(names) if name != _DISC_INDEX)
            yield from (file for file in files if file.is_file() and _worth_opening(file))
    elif path.exists():
        yield path
    else:
        raise LoopError(f"{path} does not exist: check the name.")


def _worth_opening(file: Path) -> bool:
    try:
        return is_dicom(file)
    except OSError:
        return True  # opening it will say why it cannot be read


def _refuse(error: OSError) -> None:
    raise LoopError(f"{error.filename} cannot be listed: {error.strerror}.") from error
