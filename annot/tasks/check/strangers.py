"""Whether loops that are to tell of a room can be that room's at all."""

from collections.abc import Sequence
from pathlib import Path

from annot.loops.header_glance import glance
from annot.tasks.check.reference import Room


def strangers(room: Room, loops: Sequence[Path]) -> tuple[str, ...]:
    """Say which loops another kind of room, or a system that the room does not name, has made.

    A new software gives a system another pseudonym and not the machine, so this warns and does
    not refuse; nothing is said of a loop whose header does not tell its system.

    Parameters
    ----------
    room
    loops
        Files whose headers are looked at; no pixel is read.
    """
    found = []
    for path in loops:
        seen = glance(path)
        if seen.modality and seen.modality != room.modality:
            found.append(
                f"{path.name} is {seen.modality}, and {room.name} is entered for {room.modality}: "
                "look whether it is this room's loop"
            )
        names = [one for one in (seen.station, seen.system) if one]
        if names and not set(names) & set(room.systems):
            known = f"names only {', '.join(room.systems)}" if room.systems else "names none"
            found.append(
                f"{path.name} comes from imaging system {names[0]}, and {room.name} {known}: if it "
                f"is this room's, enter the room again with --system {names[0]} and a --reason"
            )
    return tuple(found)
