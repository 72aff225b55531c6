"""A program's help at the desk: asked for, shown, and taken only where a person says so."""

from abc import abstractmethod

from psygnal import Signal

from annot.calibration import LoopScale
from annot.errors import AnnotError, InputError
from annot.measurement import Caliper
from annot.measurement.track import Track
from annot.tasks.open import Loop
from annot.tasks.refine import proposals_of
from napari_annot import read_edits as edits
from napari_annot.assisted import Carried, Ghost, all_confirmed, unconfirmed, with_track
from napari_annot.statements import Statements


class Assistance(Statements):
    """Ends proposed on the walls' edges, and calipers carried through a loop."""

    carry_wanted = Signal(str, object)
    carry_ended = Signal()

    loops: dict[str, Loop]
    selected: str | None
    ghost: Ghost | None
    carried: Carried | None

    @abstractmethod
    def say(self, message: str, *, fault: bool = False) -> None:
        """Set the status line."""

    @abstractmethod
    def _scale_of(self, file: str) -> LoopScale:
        """Return a loop's scale."""

    def propose_ends(self) -> None:
        """Look for the walls' edges at the selected caliper's ends, and show what was found."""
        file, caliper = self._chosen()
        if caliper.origin != "drawn":
            raise InputError("Only ends drawn by hand are refined: these were placed by a program.")
        found = proposals_of(self.loops[file], caliper, self._scale_of(file), file=file)
        self.ghost = Ghost(caliper=caliper, proposals=tuple(found))
        if self.ghost.offers_any:
            self.say("Look at the proposed ends, then take them or leave them.")
        else:
            self.say("No edge was found at these ends: they stay as drawn.", fault=True)
        self.changed.emit()

    def accept_ends(self) -> None:
        """Move the selected caliper's ends to where the picture proposes them."""
        ghost, self.ghost = self.ghost, None
        if ghost is None or not ghost.stands(self.read) or not ghost.offers_any:
            self.changed.emit()
            return
        file, _ = self._found(ghost.caliper.key)
        self.say("")
        self._do(edits.with_caliper(self.read, file, ghost.refined))

    def leave_ends(self) -> None:
        """Leave the ends as drawn."""
        self.ghost = None
        self.say("")
        self.changed.emit()

    def carry(self) -> None:
        """Carry the selected caliper through its loop; the work is done off the screen's thread."""
        file, caliper = self._chosen()
        if caliper.measurand.kind != "length":
            raise InputError(
                f"A {caliper.measurand.title.lower()} is not carried through a loop: only lengths "
                "are."
            )
        if not caliper.confirmed:
            raise InputError("Confirm this caliper before carrying it on.")
        self.carried = Carried(key=caliper.key, frames=self.loops[file].frames)
        self.say("")
        self.carry_wanted.emit(file, caliper)
        self.changed.emit()

    def stop_carrying(self) -> None:
        """Give the carrying up; nothing of it is kept."""
        if self.carried is not None:
            self.carried = None
            self.carry_ended.emit()
            self.say("Carrying stopped: nothing of it was kept.")
            self.changed.emit()

    def carrying_has_come(self, looked: int) -> None:
        """Show how many frames have been looked at."""
        if self.carried is not None:
            self.carried = Carried(key=self.carried.key, looked=looked, frames=self.carried.frames)
            self.changed.emit()

    def take_track(self, file: str, caliper: Caliper, answer: Track | AnnotError) -> None:
        """Take a track as unconfirmed calipers, unless the caliper is another one by now."""
        if self.carried is None or self.carried.key != caliper.key:
            return
        self.carried = None
        found = edits.find_caliper(self.read, caliper.key)
        if isinstance(answer, AnnotError):
            self.say(answer.message, fault=True)
            self.changed.emit()
        elif found is None or found[1] is not caliper:
            self.say("The caliper was changed meanwhile: carry it again.", fault=True)
            self.changed.emit()
        else:
            lost = "".join(f" {one[:1].upper()}{one[1:]}." for one in answer.lost)
            count = len(answer.frames) - 1
            self.say(
                f"Carried to {count} more frames, none confirmed: look at each and confirm it, or "
                f"delete it.{lost}",
                fault=bool(lost),
            )
            self._do(with_track(self.read, file, caliper, answer))

    def confirm(self) -> None:
        """Confirm the selected caliper."""
        if self.selected is not None:
            self.revise(self.selected, confirmed=True)

    def confirm_all(self) -> None:
        """Confirm every caliper of the read."""
        count = len(unconfirmed(self.read))
        self.say(f"Confirmed {count} calipers.")
        self._do(all_confirmed(self.read))

    def _chosen(self) -> tuple[str, Caliper]:
        if self.selected is None:
            raise InputError("Select a caliper first: click its line or its row.")
        return self._found(self.selected)

    def _found(self, key: str) -> tuple[str, Caliper]:
        found = edits.find_caliper(self.read, key)
        if found is None:
            raise InputError("That caliper is no longer there: select another one.")
        return found
