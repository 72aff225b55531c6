"""Find a study's loop again by its sealed key, and see that it is still the same file."""

from pathlib import Path

from annot.errors import InputError
from annot.reads.key_file import KeyContent
from annot.reads.study_file import StudyLoopPart
from annot.tasks.reads_study import file_digest


def source_of(key: KeyContent, loop: StudyLoopPart) -> Path:
    """Return a loop's own file.

    Raises
    ------
    InputError
        If it is gone or is another file now.
    """
    known = {one.fingerprint: one for one in key.sources}
    if loop.fingerprint not in known:
        raise InputError(f"The key does not know {loop.label}: it belongs to another study.")
    path = Path(known[loop.fingerprint].file)
    if not path.is_file():
        raise InputError(f"{loop.label}: its file {path} is gone; put it back where it was.")
    if file_digest(path) != loop.fingerprint:
        raise InputError(
            f"{loop.label}: {path} is no longer the file that the study was made of; put that back."
        )
    return path
