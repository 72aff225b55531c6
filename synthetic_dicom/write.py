"""A loop and its truth on disk: whole files or none."""

from __future__ import annotations

import os
import tempfile
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import BinaryIO

from pydicom.dataset import Dataset

from synthetic_dicom.truth import Truth, truth_to_json


@dataclass(frozen=True, slots=True, kw_only=True)
class WrittenLoop:
    """A file, the truth beside it, and the truth itself."""

    path: Path
    truth_path: Path
    truth: Truth


def write_loop(dataset: Dataset, truth: Truth, folder: Path) -> WrittenLoop:
    """Write a dataset and its truth into a folder, made if it is not there.

    Each file appears under its name only when it is complete.

    Parameters
    ----------
    dataset : Dataset
        With pixels and file meta information.
    truth : Truth
        Its ``file`` names the DICOM file.
    folder : Path
        Where to write.
    """
    folder.mkdir(parents=True, exist_ok=True)
    path = folder / truth.file
    truth_path = path.with_suffix(".truth.json")
    _write_whole(path, lambda stream: dataset.save_as(stream, enforce_file_format=True))
    _write_whole(truth_path, lambda stream: _write_text(stream, truth_to_json(truth)))
    return WrittenLoop(path=path, truth_path=truth_path, truth=truth)


def _write_text(stream: BinaryIO, text: str) -> None:
    stream.write(text.encode("utf-8"))


def _write_whole(path: Path, fill: Callable[[BinaryIO], None]) -> None:
    """Fill a temporary file in the same folder, then give it its name in one step."""
    handle, name = tempfile.mkstemp(prefix=f".{path.name}.", dir=path.parent)
    unfinished = Path(name)
    try:
        with os.fdopen(handle, "wb") as stream:
            fill(stream)
            stream.flush()
            os.fsync(stream.fileno())
        unfinished.chmod(0o644)
        unfinished.replace(path)
    finally:
        unfinished.unlink(missing_ok=True)
