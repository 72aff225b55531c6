"""What a person states about a read, its loops and its calipers: the desk's plainer half."""

from abc import ABC, abstractmethod
from dataclasses import replace
from pathlib import Path

from psygnal import Signal

from annot.reads import Conditions, LoopRead
from annot.reads.read import Implant
from annot.tasks.read import Read, ruled
from napari_annot import read_edits as edits
from napari_annot.end_placing import EndPlacing
from napari_annot.history import History


class Statements(ABC):
    """Edits of the desk's read that draw nothing."""

    changed = Signal()

    read: Read
    history: History
    placing: EndPlacing

    @abstractmethod
    def _do(self, read: Read) -> None:
        """Let a changed read stand, as a step that can be undone."""

    @abstractmethod
    def _on_show(self) -> str:
        """Return the loop on show, or refuse if there is none."""

    def revise(self, key: str, **facts: object) -> None:
        """Change what a caliper states: repeat, tilt, note."""
        found = edits.find_caliper(self.read, key)
        if found is not None:
            changed = replace(found[1], **facts)  # type: ignore[arg-type]  # fields by name
            self._do(edits.with_caliper(self.read, found[0], changed))

    def place_ends(self, placing: EndPlacing) -> None:
        """State how well an end is placed: for every caliper of the read, and those to come."""
        self.placing = placing
        self._do(
            edits.every_caliper(
                self.read,
                # an end that a fit or a tracker placed is as good as that is
                lambda one: (
                    replace(one, u_end_px=placing.u_px, u_end_mm=placing.u_mm)
                    if one.origin == "drawn"
                    else one
                ),
            )
        )

    def state_reader(self, reader: str, study: str) -> None:
        """State who reads and what the study is called; no step of its own to undo."""

        def name(read: Read) -> Read:
            return replace(read, reader=reader.strip(), study=study.strip() or None)

        self.read = name(self.read)
        self.history.everywhere(name)
        self.changed.emit()

    def state_conditions(self, conditions: Conditions) -> None:
        """State loading, rhythm, filling, moment and pressure for the loop on show."""
        file = self._on_show()
        self._do(edits.edited(self.read, file, lambda loop: replace(loop, conditions=conditions)))

    def state_protocol(self, name: str, *, beside: Path | None = None) -> None:
        """State by which protocol is read: a shipped one by its name, or a file.

        Raises
        ------
        InputError
            If there is no such protocol, or its file is at fault.
        """
        rules = ruled(replace(self.read, protocol=name, rules=None), beside=beside)
        self._do(rules)

    def state_implant(self, implant: Implant | None) -> None:
        """State which device was implanted; None takes it away."""
        self._do(replace(self.read, implant=implant))

    def state_plane(self, plane_deg: float | None) -> None:
        """State the echo plane's angle for the loop on show."""
        file = self._on_show()

        def edit(loop: LoopRead) -> LoopRead:
            return replace(loop, view=replace(loop.view, plane_deg=plane_deg))

        self._do(edits.edited(self.read, file, edit))
