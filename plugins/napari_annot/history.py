"""Undo and redo over frozen reads."""

from collections.abc import Callable

from annot.tasks.read import Read

DEEPEST = 200


class History:
    """The reads before and after the present one; a read is frozen, so keeping it is enough."""

    def __init__(self) -> None:
        self._before: list[Read] = []
        self._after: list[Read] = []

    @property
    def can_undo(self) -> bool:
        """Whether there is a read to go back to."""
        return bool(self._before)

    @property
    def can_redo(self) -> bool:
        """Whether there is an undone read to return to."""
        return bool(self._after)

    def keep(self, read: Read) -> None:
        """Keep the read that is about to be changed; what was undone is given up."""
        self._before = [*self._before[-(DEEPEST - 1) :], read]
        self._after = []

    def undo(self, present: Read) -> Read:
        """Return the read before this one; `can_undo` must hold."""
        self._after.append(present)
        return self._before.pop()

    def redo(self, present: Read) -> Read:
        """Return the read that was undone last; `can_redo` must hold."""
        self._before.append(present)
        return self._after.pop()

    def everywhere(self, change: Callable[[Read], Read]) -> None:
        """Apply to every kept read what is no step of its own: a newly opened loop, a name."""
        self._before = [change(read) for read in self._before]
        self._after = [change(read) for read in self._after]

    def forget(self) -> None:
        """Start afresh."""
        self._before, self._after = [], []
