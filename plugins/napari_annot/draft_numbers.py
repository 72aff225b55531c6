"""The numbers of a line that is being drawn: at once by first order, settled when it rests."""

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field

from annot.calibration import LoopScale
from annot.measurement import Caliper, Known
from annot.tasks.measure import Beams, Measurement, known_of, measure_live
from annot.tasks.open import Loop
from annot.tasks.read import Read
from napari_annot import read_edits as edits
from napari_annot.answers import Answer, answer_now
from napari_annot.drawing import Draft, caliper_of
from napari_annot.end_placing import EndPlacing


@dataclass(frozen=True, slots=True, kw_only=True)
class Surroundings:
    """What a draft is measured in."""

    read: Read
    loops: Mapping[str, Loop]
    scale_of: Callable[[str], LoopScale]
    beams: Beams
    placing: EndPlacing


@dataclass(slots=True)
class DraftNumbers:
    """Measures the draft once a step.

    What the other calipers say of it (the reader's repeats, the beam) is looked up when a line
    begins and again when it rests, not at every step: a step must not wait for 200 calipers.
    """

    _draft: Draft | None = None
    _answers: tuple[Answer, ...] = ()
    _known: dict[str, Known] = field(default_factory=dict)
    _known_for: tuple[Read, LoopScale] | None = None

    def of(self, draft: Draft | None, around: Surroundings) -> tuple[Answer, ...]:
        """Return the draft's numbers, none where it is no caliper yet."""
        if draft is None:
            self._known_for = None
        if draft is not self._draft:
            self._draft = draft
            self._answers = tuple(
                answer_now(one, look=False) for one in self._measured(draft, around)
            )
        return self._answers

    def rest(self, around: Surroundings) -> bool:
        """Measure the draft as the finished line will be; tell whether its words are others now."""
        self._known_for = None
        if not any(one.provisional for one in self._answers):
            return False
        self._answers = tuple(answer_now(one) for one in self._measured(self._draft, around))
        return True

    def unsettled(self) -> list[Measurement]:
        """Return what only a simulation can answer; nothing while the line moves."""
        return [one.measurement for one in self._answers if one.provisional]

    def settle(self) -> bool:
        """Take over answers that have come since, and tell whether there were any."""
        if not any(one.provisional and one.measurement.answered for one in self._answers):
            return False
        self._answers = tuple(answer_now(one.measurement) for one in self._answers)
        return True

    def _measured(self, draft: Draft | None, around: Surroundings) -> tuple[Measurement, ...]:
        if draft is None or draft.tool.measurand is None or not draft.drawable:
            return ()
        caliper = caliper_of(draft, around.read, around.placing)
        scale = around.scale_of(draft.file)
        known = self._known_of(draft, caliper, scale, around)
        return measure_live(caliper, scale, around.loops[draft.file].header, known=known)

    def _known_of(
        self, draft: Draft, caliper: Caliper, scale: LoopScale, around: Surroundings
    ) -> dict[str, Known]:
        before = self._known_for
        if before is None or before[0] is not around.read or before[1] is not scale:
            as_if = edits.with_caliper(around.read, draft.file, caliper)
            scales = {file: around.scale_of(file) for file in around.loops}
            self._known = known_of(as_if, around.loops, scales, around.beams)[caliper.key]
            self._known_for = (around.read, scale)
        return self._known
