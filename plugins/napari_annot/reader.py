"""napari's reader for DICOM loops: files with or without an extension, folders and archives."""

from collections.abc import Callable, Sequence
from pathlib import Path
from typing import Any

from annot.errors import LoopError
from annot.tasks.open import leads_to_loops, open_loops
from napari_annot.picture_layer import picture_of

LayerData = tuple[Any, dict[str, Any], str]
Reader = Callable[[str | Sequence[str]], list[LayerData]]


def get_reader(path: str | Sequence[str]) -> Reader | None:
    """Return the reader for DICOM files, and for what holds some; None for anything else."""
    paths = _paths(path)
    return read_loops if paths and all(leads_to_loops(one) for one in paths) else None


def read_loops(path: str | Sequence[str]) -> list[LayerData]:
    """Open every loop below the paths, frames undecoded.

    Raises
    ------
    LoopError
        If a named file is no loop, or a folder holds none that opens.
    """
    loops, faults = open_loops(_paths(path))
    if not loops:
        raise LoopError(" ".join(faults) or "There is no DICOM loop here: choose another folder.")
    return [picture_of(loop) for loop in loops]


def _paths(path: str | Sequence[str]) -> list[Path]:
    return [Path(path)] if isinstance(path, str) else [Path(one) for one in path]
