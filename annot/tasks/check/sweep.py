"""Look through an archive: every header's scale and timing judged, software changes noted."""

import os
from collections.abc import Callable, Collection, Iterable, Iterator, Sequence
from contextlib import contextmanager
from itertools import islice
from pathlib import Path
from tempfile import TemporaryDirectory

from annot.errors import InputError
from annot.loops.disc_index import NAME as DISC_INDEX
from annot.tasks.check.look import FileStamp, look
from annot.tasks.check.sweep_journal import SweepJournal
from annot.tasks.check.sweep_summary import SweepSummary, summary_of
from annot.tasks.rehearse.workers import Place, finished

BATCH = 64  # files that a worker is given at once: many enough to hide the way there and back


def sweep(
    paths: Sequence[Path],
    *,
    journal: Path | None = None,
    place: Place | None = None,
    progress: Callable[[int], None] = lambda _: None,
    watch: Collection[str] = (),
) -> SweepSummary:
    """Look at every file below some paths, header first and header only.

    Parameters
    ----------
    paths
        Files, folders and zip archives.
    journal
        Where findings are kept as they come, and from where a stopped sweep goes on; without it
        they go to a temporary file.
    place
        Where files are looked at: this process, all cores, or a Dask cluster that sees the paths.
    progress
        Called with the number of files finished so far, those of an earlier run included.
    watch
        SOP instance UIDs to be told of where they are met.

    Raises
    ------
    InputError
        If a path does not exist or a folder cannot be listed, or the journal is something else.
    """
    for path in paths:
        if not path.exists():
            raise InputError(f"{path} does not exist: check the name.")
    with _kept(journal) as where:
        with SweepJournal(where) as kept:
            new = _swept(paths, kept, place or Place(), progress)
            before = kept.finished
        return summary_of(where, files=before + new, resumed=before, watch=watch)


@contextmanager
def _kept(journal: Path | None) -> Iterator[Path]:
    if journal is not None:
        yield journal
        return
    with TemporaryDirectory() as folder:
        yield Path(folder) / "sweep.jsonl"


def _swept(
    paths: Sequence[Path],
    kept: SweepJournal,
    place: Place,
    progress: Callable[[int], None],
) -> int:
    fresh = (one for one in _files(paths) if one.path != str(kept.path) and not kept.knows(one))
    count = 0
    for _, batch in finished(look, _batches(fresh), place):
        for one in batch:
            kept.add(one)
        kept.flush()
        count += len(batch)
        progress(kept.finished + count)
    return count


def _batches(files: Iterable[FileStamp]) -> Iterator[tuple[FileStamp, ...]]:
    files = iter(files)
    while batch := tuple(islice(files, BATCH)):
        yield batch


def _files(paths: Sequence[Path]) -> Iterator[FileStamp]:
    """Yield every file once, in a fixed order, without opening any."""
    named = sorted({path.absolute() for path in paths})
    for path in named:
        if any(other in path.parents for other in named):
            continue  # it lies below another path that is named too
        if path.is_dir():
            yield from _below(str(path))
        else:
            found = path.stat()
            yield FileStamp(str(path), found.st_size, found.st_mtime_ns)


def _below(folder: str) -> Iterator[FileStamp]:
    try:
        with os.scandir(folder) as listed:
            entries = sorted(listed, key=lambda one: one.name)
    except OSError as fault:
        raise InputError(f"{folder} cannot be listed: {fault.strerror}.") from None
    for entry in entries:
        if entry.is_dir(follow_symlinks=False):
            yield from _below(entry.path)
        elif entry.is_file() and entry.name != DISC_INDEX:
            found = entry.stat()
            yield FileStamp(entry.path, found.st_size, found.st_mtime_ns)
