"""The journal of a sweep: a line per loop, so that a killed sweep goes on where it stopped.

Lines are only ever added. A file is finished when its closing line stands there whole; a last line
that was cut off is taken away, and its file looked at again. Of finished files only eight bytes
each are held in memory.
"""

import json
import os
from array import array
from bisect import bisect_left
from collections.abc import Iterator
from hashlib import blake2b
from itertools import pairwise
from pathlib import Path
from typing import IO, Any, Self

from annot.errors import InputError
from annot.tasks.check.look import FileStamp, Line, Swept

MARK = "annot_sweep"
VERSION = 1


class SweepJournal:
    """An append-only file of JSON lines: a head, loops, and a closing line per file.

    Raises
    ------
    InputError
        If the file is no journal of a sweep, or cannot be read or written.
    """

    def __init__(self, path: Path) -> None:
        self.path = path
        self._done = array("Q")
        self._stream: IO[bytes] | None = None

    def __enter__(self) -> Self:
        try:
            self._done = array("Q", sorted(self._finished()))
            self._stream = self.path.open("ab")
        except OSError as fault:
            raise InputError(
                f"{self.path}: the journal cannot be used: {fault.strerror}."
            ) from None
        if self._stream.tell() == 0:
            self._write({MARK: VERSION})
        return self

    def __exit__(self, *_: object) -> None:
        if self._stream is not None:
            self._stream.close()
            self._stream = None

    @property
    def finished(self) -> int:
        """How many files were finished when it was opened."""
        return len(self._done)

    def knows(self, stamp: FileStamp) -> bool:
        """Tell whether a file was finished, as it stands now, when the journal was opened."""
        mark = _digest(stamp)
        place = bisect_left(self._done, mark)
        return place < len(self._done) and self._done[place] == mark

    def add(self, swept: Swept) -> None:
        """Keep what was seen of a file; it is out of this process when this returns."""
        for line in swept.lines:
            self._write(line)
        self._write({"file": list(swept.stamp)})

    def _write(self, content: object) -> None:
        assert self._stream is not None
        text = json.dumps(content, allow_nan=False, separators=(",", ":")) + "\n"
        try:
            self._stream.write(text.encode("utf-8"))
        except OSError as fault:
            raise InputError(
                f"{self.path}: the journal cannot be written: {fault.strerror}."
            ) from None

    def flush(self) -> None:
        """Hand what was added to the system: it outlives this process from here on."""
        assert self._stream is not None
        self._stream.flush()

    def _finished(self) -> Iterator[int]:
        if not self.path.exists():
            return
        end = _refuse_other(self.path)
        for content, past in _parsed(self.path):
            if "file" in content:
                end = past
                yield _digest(FileStamp(*content["file"]))
        # loops without their closing line belong to a file that was not finished
        os.truncate(self.path, end)


def journal_lines(path: Path) -> Iterator[Line]:
    """Yield the loops of a journal, one at a time; of a file that changed, the last look only.

    Raises
    ------
    InputError
        If it is no journal of a sweep.
    """
    _refuse_other(path)
    again = _looked_at_again(path)
    waiting: list[Line] = []
    for content, _ in _parsed(path):
        if "path" in content:
            waiting.append(content)
        elif "file" in content:
            mark = _digest(FileStamp(content["file"][0], 0, 0))
            if again.get(mark, 0) > 0:
                again[mark] -= 1
            else:
                yield from waiting
            waiting = []


def _looked_at_again(path: Path) -> dict[int, int]:
    """Return how many more looks follow the first one, for the few files that changed."""
    marks = array("Q")
    for content, _ in _parsed(path):
        if "file" in content:
            marks.append(_digest(FileStamp(content["file"][0], 0, 0)))
    again: dict[int, int] = {}
    for one, two in pairwise(sorted(marks)):
        if one == two:
            again[one] = again.get(one, 0) + 1
    return again


def _parsed(path: Path) -> Iterator[tuple[dict[str, Any], int]]:
    """Yield every whole line with the place where it ends."""
    past = 0
    with path.open("rb") as stream:
        for number, line in enumerate(stream, start=1):
            past += len(line)
            if not line.endswith(b"\n"):
                return
            try:
                content = json.loads(line)
            except ValueError:
                content = None
            if not isinstance(content, dict):
                raise InputError(
                    f"{path}: line {number} is no line of a sweep: delete it, or name another "
                    "journal."
                )
            yield content, past


def _refuse_other(path: Path) -> int:
    """Return where the head ends; an empty file may become a journal, any other may not."""
    with path.open("rb") as stream:
        head = stream.readline(200)
    if not head:
        return 0
    try:
        known = json.loads(head)
    except ValueError:
        known = None
    if not isinstance(known, dict) or known.get(MARK) != VERSION:
        raise InputError(f"{path} is no journal of a sweep and is left as it is; name another.")
    return len(head)


def _digest(stamp: FileStamp) -> int:
    text = "\0".join(map(str, stamp)).encode("utf-8", "surrogateescape")
    return int.from_bytes(blake2b(text, digest_size=8).digest(), "big")
