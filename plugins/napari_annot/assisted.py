"""What a program proposes and a person decides: ends on the walls' edges, a caliper carried on."""

from dataclasses import dataclass, replace

from annot.measurement import Caliper
from annot.measurement.track import Track
from annot.reads import LoopRead
from annot.tasks.read import Read
from annot.tasks.refine import Proposal, accepted
from annot.vocabulary import FrameReference
from napari_annot import read_edits as edits

CARRIED_FROM = "carried from "


@dataclass(frozen=True, slots=True, kw_only=True)
class Ghost:
    """A caliper with the ends that the picture proposes; nothing of it stands in the read."""

    caliper: Caliper
    proposals: tuple[Proposal, ...]

    @property
    def refined(self) -> Caliper:
        """The caliper as it would stand; the drawn one where no edge was found."""
        return accepted(self.caliper, self.proposals)

    @property
    def offers_any(self) -> bool:
        """Whether there is an end to accept."""
        return self.refined is not self.caliper

    def stands(self, read: Read) -> bool:
        """Whether the read still has the caliper that it was made for."""
        found = edits.find_caliper(read, self.caliper.key)
        return found is not None and found[1] is self.caliper


@dataclass(frozen=True, slots=True, kw_only=True)
class Carried:
    """How far the carrying of a caliper through its loop has come."""

    key: str
    looked: int = 0
    frames: int = 0


def with_track(read: Read, file: str, caliper: Caliper, track: Track) -> Read:
    """Return the read with a caliper on every frame of its track, none of them confirmed.

    What was carried from the same caliper before and not confirmed gives way; a frame on which a
    carried one was confirmed keeps that.
    """
    note = f"{CARRIED_FROM}{caliper.key}"

    def keep(one: Caliper) -> bool:
        return one.confirmed or one.origin != "tracked" or one.note != note

    def clear(loop: LoopRead) -> LoopRead:
        return replace(loop, calipers=tuple(one for one in loop.calipers if keep(one)))

    read = edits.edited(read, file, clear)
    kept = {one.frame.frame for one in edits.loop_of(read, file).calipers if one.note == note} | {
        caliper.frame.frame
    }
    for tracked in track.frames:
        if tracked.frame in kept:
            continue
        carried = replace(
            caliper,
            key=edits.free_key(read, caliper.measurand.name),
            frame=FrameReference(
                sop_instance_uid=caliper.frame.sop_instance_uid, frame=tracked.frame
            ),
            points=tracked.points,
            origin="tracked",
            confirmed=False,
            note=note,
        )
        read = edits.with_caliper(read, file, carried)
    return read


def unconfirmed(read: Read) -> tuple[Caliper, ...]:
    """Return every caliper that nobody has confirmed."""
    return tuple(one for loop in read.loops for one in loop.calipers if not one.confirmed)


def all_confirmed(read: Read) -> Read:
    """Return the read with every caliper confirmed."""
    return edits.every_caliper(
        read, lambda one: one if one.confirmed else replace(one, confirmed=True)
    )
