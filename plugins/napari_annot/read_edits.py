"""A read with one thing changed, as a new frozen read."""

import os
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

from annot.calibration import BorrowedRequest
from annot.measurement import Caliper
from annot.measurement.placed_landmark import PlacedLandmark
from annot.reads import LoopRead
from annot.tasks.read import Read

PROTOCOL_FILES = (".yaml", ".yml")


def loop_of(read: Read, file: str) -> LoopRead:
    """Return a loop's part of a read."""
    return next(one for one in read.loops if one.file == file)


def with_loop(read: Read, loop: LoopRead) -> Read:
    """Return the read with a loop added at the end, unless it is there."""
    if any(one.file == loop.file for one in read.loops):
        return read
    return replace(read, loops=(*read.loops, loop))


def edited(read: Read, file: str, edit: Callable[[LoopRead], LoopRead]) -> Read:
    """Return the read with one loop's part changed."""
    return replace(read, loops=tuple(edit(one) if one.file == file else one for one in read.loops))


def with_caliper(read: Read, file: str, caliper: Caliper) -> Read:
    """Return the read with a caliper added, or put in place of the one with its key."""

    def edit(loop: LoopRead) -> LoopRead:
        if any(one.key == caliper.key for one in loop.calipers):
            changed = tuple(caliper if one.key == caliper.key else one for one in loop.calipers)
            return replace(loop, calipers=changed)
        return replace(loop, calipers=(*loop.calipers, caliper))

    return edited(read, file, edit)


def without_caliper(read: Read, key: str) -> Read:
    """Return the read without a caliper."""
    return replace(
        read,
        loops=tuple(
            replace(one, calipers=tuple(each for each in one.calipers if each.key != key))
            for one in read.loops
        ),
    )


def with_landmark(read: Read, file: str, mark: PlacedLandmark) -> Read:
    """Return the read with a landmark placed, in place of the one of its name on its frame."""

    def edit(loop: LoopRead) -> LoopRead:
        others = (one for one in loop.landmarks if (one.name, one.frame) != (mark.name, mark.frame))
        return replace(loop, landmarks=(*others, mark))

    return edited(read, file, edit)


def without_landmarks(read: Read, file: str, frame: int) -> Read:
    """Return the read without the landmarks of one frame."""
    return edited(
        read,
        file,
        lambda loop: replace(
            loop, landmarks=tuple(one for one in loop.landmarks if one.frame != frame)
        ),
    )


def every_caliper(read: Read, edit: Callable[[Caliper], Caliper]) -> Read:
    """Return the read with every caliper changed the same way."""
    return replace(
        read,
        loops=tuple(
            replace(one, calipers=tuple(edit(each) for each in one.calipers)) for one in read.loops
        ),
    )


def find_caliper(read: Read, key: str) -> tuple[str, Caliper] | None:
    """Return a caliper with its loop's file, None if there is none of that key."""
    for loop in read.loops:
        for caliper in loop.calipers:
            if caliper.key == key:
                return loop.file, caliper
    return None


def free_key(read: Read, quantity: str) -> str:
    """Return an id that no caliper of the read has: the quantity and a running number."""
    taken = {caliper.key for loop in read.loops for caliper in loop.calipers}
    number = 1
    while f"{quantity}-{number}" in taken:
        number += 1
    return f"{quantity}-{number}"


def next_repeat(loop: LoopRead, quantity: str, frame: int) -> int:
    """Return the number of the next reading of a quantity on one frame."""
    return 1 + max(
        (
            one.repeat
            for one in loop.calipers
            if one.measurand.name == quantity and one.frame.frame == frame
        ),
        default=0,
    )


def renamed(read: Read, name: Callable[[str], str]) -> Read:
    """Return the read with every file named anew: loops, lenders of scales, a protocol's file."""

    def rename(loop: LoopRead) -> LoopRead:
        scale = loop.scale
        if isinstance(scale, BorrowedRequest):
            scale = replace(scale, file=name(scale.file))
        return replace(loop, file=name(loop.file), scale=scale)

    own = read.protocol.lower().endswith(PROTOCOL_FILES)
    return replace(
        read,
        loops=tuple(rename(one) for one in read.loops),
        protocol=name(read.protocol) if own else read.protocol,
    )


def beside(folder: Path) -> Callable[[str], str]:
    """Return what names a file relative to a folder, with forward slashes on every system."""

    def name(file: str) -> str:
        try:
            return Path(os.path.relpath(file, folder)).as_posix()
        except ValueError:  # on another drive
            return Path(file).as_posix()

    return name


def below(folder: Path) -> Callable[[str], str]:
    """Return what finds a file named relative to a folder, the reverse of `beside`."""

    def name(file: str) -> str:
        return str(Path(folder, file).resolve())

    return name
