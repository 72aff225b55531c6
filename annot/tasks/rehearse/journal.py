"""The journal of a study: finished cases, a line each, so that a killed run goes on."""

import json
import os
from collections.abc import Mapping, Sequence
from dataclasses import asdict, dataclass
from pathlib import Path
from typing import IO, Any, Self

from annot.errors import InputError
from annot.tasks.rehearse.trial import Trial, trial_from_json

MARK = "annot_study"
Trials = tuple[Trial, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class JournalHead:
    """What a journal belongs to: cases of another study, seed or version never mix with it.

    `rules` is a fingerprint of what is drawn and of every default in use.
    """

    study: str
    seed: int
    version: str
    rules: str

    def as_json(self) -> dict[str, Any]:
        """Return the journal's first line."""
        return {MARK: 1, **asdict(self)}


class Journal:
    """An append-only file of JSON lines: a head, then a line per finished case.

    A last line without its end was cut off while it was written: it is dropped, and its case
    is run again. A case that stands there twice counts once.

    Parameters
    ----------
    path : Path or None
        None keeps nothing.
    head : JournalHead

    Raises
    ------
    InputError
        If the file is no journal, belongs to another study, or cannot be read or written.
    """

    def __init__(self, path: Path | None, head: JournalHead) -> None:
        self.finished: dict[int, Trials] = {}
        self._path = path
        self._head = head
        self._stream: IO[bytes] | None = None

    def __enter__(self) -> Self:
        if self._path is None:
            return self
        try:
            self.finished = _read(self._path, self._head)
            self._stream = self._path.open("ab")
        except OSError as fault:
            raise InputError(
                f"{self._path}: the journal cannot be opened: {fault.strerror}."
            ) from None
        if self._stream.tell() == 0:
            self._append(self._head.as_json())
        return self

    def __exit__(self, *_: object) -> None:
        if self._stream is not None:
            self._stream.close()
            self._stream = None

    def add(self, case: int, trials: Sequence[Trial]) -> None:
        """Keep a finished case; it is on the disc when this returns."""
        self.finished[case] = tuple(trials)
        if self._stream is not None:
            self._append({"case": case, "trials": [one.as_json() for one in trials]})

    def _append(self, content: Mapping[str, Any]) -> None:
        assert self._stream is not None
        line = json.dumps(content, allow_nan=False, separators=(",", ":")) + "\n"
        try:
            self._stream.write(line.encode("utf-8"))
            self._stream.flush()
        except OSError as fault:
            raise InputError(
                f"{self._path}: the journal cannot be written: {fault.strerror}."
            ) from None


def _read(path: Path, head: JournalHead) -> dict[int, Trials]:
    """Return the finished cases of a journal, its cut-off last line taken away."""
    if not path.exists():
        return {}
    whole = path.read_bytes()
    end = whole.rfind(b"\n") + 1
    lines = whole[:end].splitlines()
    if lines or (whole and not whole.startswith(b'{"' + MARK.encode())):
        _refuse_other(path, lines, head)
    if end < len(whole):
        os.truncate(path, end)
    finished: dict[int, Trials] = {}
    for number, line in enumerate(lines[1:], start=2):
        try:
            content = json.loads(line)
            trials = tuple(trial_from_json(one) for one in content["trials"])
            finished.setdefault(int(content["case"]), trials)
        except (ValueError, KeyError, TypeError):
            raise InputError(
                f"{path}: line {number} is no finished case: delete that line, or name another "
                "journal."
            ) from None
    return finished


def _refuse_other(path: Path, lines: Sequence[bytes], head: JournalHead) -> None:
    try:
        found = json.loads(lines[0])
    except (ValueError, IndexError):
        found = None
    if not isinstance(found, dict) or found.get(MARK) != 1:
        raise InputError(f"{path} is no journal of a study and is left as it is; name another.")
    if found != head.as_json():
        raise InputError(
            f"{path} is the journal of study {found.get('study')}, seed {found.get('seed')}, "
            f"version {found.get('version')}, rules {found.get('rules')}, not of {head.study}, "
            f"seed {head.seed}, version {head.version}, rules {head.rules}: their cases do not "
            "mix; name another file."
        )
