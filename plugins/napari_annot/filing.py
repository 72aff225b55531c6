"""Reads from and to files, tables to files; relative names in a file become absolute here."""

from pathlib import Path

from annot.errors import InputError
from annot.tasks.export import write_table
from annot.tasks.measure import entries_of
from annot.tasks.open import open_loop, open_loops
from annot.tasks.read import load_read, save_read
from napari_annot.autosave import NOBODY_YET
from napari_annot.desk import Desk
from napari_annot.read_edits import below, beside, renamed


def open_paths(desk: Desk, paths: list[Path]) -> list[str]:
    """Put every loop below the paths on the desk and show the first; return what went wrong.

    Raises
    ------
    LoopError
        If a path does not exist or a folder cannot be listed.
    """
    loops, faults = open_loops(paths)
    files = [desk.add(loop) for loop in loops]
    if files:
        desk.show(files[0])
    if not files and not faults:
        faults.append("There is no DICOM loop here: choose another file or folder.")
    return faults


def save(desk: Desk, path: Path) -> None:
    """Save the read, its loops named relative to the file.

    Raises
    ------
    InputError
        If nobody is named as the reader, or the file cannot be written.
    """
    if not desk.read.reader:
        raise InputError("State who reads (a code, no name) before saving.")
    if desk.draft is not None:
        raise InputError("Finish the line that is being drawn before saving.")
    path = path.resolve()
    save_read(renamed(desk.read, beside(path.parent)), path)
    desk.saved_as(path)


def load(desk: Desk, path: Path) -> None:
    """Load a read and every loop it names, in place of what lies on the desk.

    Raises
    ------
    AnnotError
        On the first file, loop or caliper at fault; the desk stays as it was.
    """
    path = path.resolve()
    read = renamed(load_read(path), below(path.parent))
    loops = []
    for part in read.loops:
        loop = open_loop(Path(part.file))
        stated, held = part.sop_instance_uid, loop.header.sop_instance_uid
        if stated is not None and stated != held:
            raise InputError(
                f"{Path(part.file).name} is not the loop that was read: the read states SOP "
                f"instance {stated}, the file holds {held}."
            )
        loops.append(loop)
    desk.adopt(read, loops, path)


def take_up(desk: Desk, kept: Path, read_file: Path | None) -> None:
    """Take up unsaved work that was kept, as unsaved work on its read file.

    Raises
    ------
    AnnotError
        On the first file, loop or caliper at fault; the desk stays as it was.
    """
    load(desk, kept)
    if desk.read.reader == NOBODY_YET:
        desk.state_reader("", desk.read.study or "")
    desk.taken_up(read_file)


def export(desk: Desk, path: Path) -> int:
    """Write the table of the whole read as CSV and return its number of rows.

    The rows are those that the saved read gives: loops are named as in the read file, or relative
    to the table where the read was not saved yet.

    Raises
    ------
    InputError
        If nobody is named as the reader, nothing is measured, a scale is still being fitted or
        could not be made, or the file cannot be written.
    """
    read = desk.read
    if not read.reader:
        raise InputError("State who reads (a code, no name) before exporting the table.")
    if not any(loop.calipers for loop in read.loops):
        raise InputError("There is no caliper yet, so there is no table to export.")
    for loop in read.loops:
        standing = desk.standings[loop.file]
        if standing.state == "fitting":
            raise InputError(f"Wait: the scale of {Path(loop.file).name} is still being fitted.")
        if standing.fault is not None:
            raise standing.fault
    path = path.resolve()
    name = beside((desk.read_file or path).parent)
    loops = {name(file): loop for file, loop in desk.loops.items()}
    scales = {name(file): desk.standings[file].scale for file in desk.loops}
    entries = entries_of(renamed(read, name), loops, scales, beams=desk.beams)
    write_table(entries, path)
    return len(entries)
