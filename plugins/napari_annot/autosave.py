"""Unsaved work kept beside the read file at every change, so that a crash loses one stroke."""

import os
from dataclasses import replace
from pathlib import Path

from annot.errors import AnnotError
from annot.tasks.pseudonym import key_file
from annot.tasks.read import Read, save_read
from napari_annot.desk import Desk
from napari_annot.read_edits import beside, renamed

ENDING = ".unsaved.json"
NOBODY_YET = "not stated"


def autosave_of(read_file: Path | None) -> Path:
    """Return where unsaved work on a read lies; that of no read yet, in this user's folder."""
    if read_file is not None:
        return read_file.with_name(f"{read_file.stem}{ENDING}")
    # one for each process: two windows must not write over each other's
    return key_file().parent / f"read-{os.getpid()}{ENDING}"


def left_behind() -> list[Path]:
    """Return unsaved work of other processes that had no read file yet, the latest first."""
    mine = autosave_of(None)
    found = [one for one in mine.parent.glob(f"read-*{ENDING}") if one != mine]
    return sorted(found, key=lambda one: one.stat().st_mtime, reverse=True)


class Autosave:
    """Follows the desk: writes what is unsaved, takes the file away when it is saved."""

    def __init__(self, desk: Desk) -> None:
        self._desk = desk
        self._seen: tuple[Read, Path | None] | None = None
        self._written: Path | None = None
        self._faulty = False
        desk.changed.connect(self.follow)

    def close(self) -> None:
        """Stop following; unsaved work stays where it lies."""
        self._desk.changed.disconnect(self.follow)

    def follow(self) -> None:
        """Write the read if it is another one than before and not saved."""
        desk = self._desk
        if self._seen is not None and self._seen == (desk.read, desk.read_file):
            return
        if desk.unsaved:
            self._write(autosave_of(desk.read_file))
        else:
            self.drop()
        self._seen = (desk.read, desk.read_file)

    def wrote(self, path: Path) -> bool:
        """Tell whether the work in a file is this window's own."""
        return path == self._written

    def drop(self) -> None:
        """Take the file away: what it held is saved, or given up by a person."""
        if self._written is not None:
            self._written.unlink(missing_ok=True)
            self._written = None

    def _write(self, path: Path) -> None:
        if self._written not in (None, path):
            self.drop()
        read = self._desk.read
        named = replace(read, reader=read.reader or NOBODY_YET)
        try:
            path.parent.mkdir(parents=True, exist_ok=True)
            save_read(renamed(named, beside(path.parent)), path)
            self._written, self._faulty = path, False
        except (AnnotError, OSError) as fault:
            if not self._faulty:
                self._faulty = True
                self._desk.say(f"Unsaved work is not kept: {fault} Save often.", fault=True)
