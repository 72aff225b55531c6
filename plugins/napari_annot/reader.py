"""napari's reader for DICOM loops: files with or without an extension, and folders of them."""

from collections.abc import Callable, Sequence
from pathlib import Path
from typing import Any

from annot.errors import LoopError
from annot.tasks.open import list_loops, open_loop
from napari_annot.picture_layer import picture_of

LayerData = tuple[Any, dict[str, Any], str]
Reader = Callable[[str | Sequence[str]], list[LayerData]]
MARK_AT, MARK = 128, b"DICM"  # PS3.10, 7.1: preamble of 128 bytes, then the mark


def get_reader(path: str | Sequence[str]) -> Reader | None:
    """Return the reader for DICOM files and folders that hold some, None for anything else."""
    paths = _paths(path)
    return read_loops if paths and all(_is_ours(one) for one in paths) else None


def read_loops(path: str | Sequence[str]) -> list[LayerData]:
    """Open every loop below the paths, frames undecoded.

    Raises
    ------
    LoopError
        If a named file is no loop, or a folder holds none that opens.
    """
    layers, faults = [], []
    for listed in list_loops(_paths(path)):
        if listed.header is None:
            faults.append(listed.fault)
        else:
            layers.append(picture_of(open_loop(listed.path)))
    if not layers:
        raise LoopError(" ".join(faults) or "There is no DICOM loop here: choose another folder.")
    return layers


def _paths(path: str | Sequence[str]) -> list[Path]:
    return [Path(path)] if isinstance(path, str) else [Path(one) for one in path]


def _is_ours(path: Path) -> bool:
    if path.is_dir():
        return any(_has_mark(one) for one in sorted(path.rglob("*")) if one.is_file())
    return _has_mark(path)


def _has_mark(path: Path) -> bool:
    try:
        with path.open("rb") as stream:
            stream.seek(MARK_AT)
            return stream.read(len(MARK)) == MARK
    except OSError:
        return False
