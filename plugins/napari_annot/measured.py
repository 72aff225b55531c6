"""The calipers' measurements, each made anew when it, its scale or what is known is another one."""

from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass, replace
from operator import itemgetter

from annot.calibration import LoopScale
from annot.errors import InputError
from annot.measurement import Caliper, Known
from annot.tasks.measure import Beams, Measurement, known_of, measure_live
from annot.tasks.open import Loop
from annot.tasks.planning import LoopPlan
from annot.tasks.read import Read, rules_of
from napari_annot.answers import Answer, answer_now

AT_ONCE = 12  # a look takes some milliseconds, and the screen must not wait for hundreds


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _Kept:
    caliper: Caliper
    scale: LoopScale
    known: dict[str, Known]
    answers: tuple[Answer, ...]

    def answered(self, *, look: bool) -> "_Kept":
        """Return it with every answer that is at hand now."""
        answers = tuple(answer_now(one.measurement, look=look) for one in self.answers)
        return replace(self, answers=answers)

    def holds_for(self, caliper: Caliper, scale: LoopScale, known: dict[str, Known]) -> bool:
        """Tell whether nothing that it was made from has changed."""
        return self.caliper is caliper and self.scale is scale and self.known == known


class MeasuredCalipers(Mapping[str, Measurement]):
    """Measurements by caliper key, of a contour its area first; identity says what is out of date.

    `answers` has everything that a caliper gives, in words; `derived`, by loop, the calipers that
    nobody draws because they follow from landmarks.
    """

    def __init__(self) -> None:
        self._kept: dict[str, _Kept] = {}
        self.answers: dict[str, tuple[Answer, ...]] = {}
        self.derived: dict[str, tuple[Caliper, ...]] = {}

    def __getitem__(self, key: str) -> Measurement:
        return self.answers[key][0].measurement

    def __iter__(self) -> Iterator[str]:
        return iter(self._kept)

    def __len__(self) -> int:
        return len(self._kept)

    def update(
        self,
        read: Read,
        loops: Mapping[str, Loop],
        scale_of: Callable[[str], LoopScale],
        beams: Beams,
    ) -> None:
        """Measure whatever is new, stands under another scale or is placed better or worse now.

        Raises
        ------
        InputError
            If a caliper lies on a frame or at a place that its loop does not have.
        """
        fresh, stale = {}, []
        known = known_of(read, loops, {one.file: scale_of(one.file) for one in read.loops}, beams)
        derived = _derived(read, loops, scale_of, beams)
        known |= {one.key: now for found in derived.values() for one, now in found}
        self.derived = {
            file: tuple(self._same(one) for one, _ in found) for file, found in derived.items()
        }
        for loop in read.loops:
            scale = scale_of(loop.file)
            for caliper in (*loop.calipers, *self.derived.get(loop.file, ())):
                kept, now = self._kept.get(caliper.key), known[caliper.key]
                if kept is None or not kept.holds_for(caliper, scale, now):
                    made = measure_live(caliper, scale, loops[loop.file].header, known=now)
                    answers = tuple(answer_now(one, look=False) for one in made)
                    # what a person has just drawn or moved is looked at before the others
                    stale.append((kept is not None and kept.caliper is caliper, caliper.key))
                    kept = _Kept(caliper=caliper, scale=scale, known=now, answers=answers)
                fresh[caliper.key] = kept
        for _, key in sorted(stale, key=itemgetter(0))[:AT_ONCE]:
            fresh[key] = fresh[key].answered(look=True)
        self._keep(fresh)

    def find_derived(self, key: str) -> tuple[str, Caliper] | None:
        """Return a derived caliper with its loop's file, None if there is none of that key."""
        pairs = ((file, one) for file, found in self.derived.items() for one in found)
        return next(((file, one) for file, one in pairs if one.key == key), None)

    def unsettled(self) -> list[Measurement]:
        """Return what only a simulation can answer, so that it is provisional for now."""
        return [
            one.measurement for each in self.answers.values() for one in each if one.provisional
        ]

    def settle(self) -> bool:
        """Take over the answers that have come since, and tell whether there were any."""
        fresh = dict(self._kept)
        for key, kept in self._kept.items():
            if any(one.provisional and one.measurement.answered for one in kept.answers):
                fresh[key] = kept.answered(look=False)
        changed = any(fresh[key] is not self._kept[key] for key in fresh)
        if changed:
            self._keep(fresh)
        return changed

    def _same(self, caliper: Caliper) -> Caliper:
        """Return the caliper held already where it is an equal one."""
        kept = self._kept.get(caliper.key)
        return kept.caliper if kept is not None and kept.caliper == caliper else caliper

    def _keep(self, fresh: dict[str, _Kept]) -> None:
        self._kept = fresh
        # a new mapping each time, so that whoever holds the old one holds what was said then
        self.answers = {key: kept.answers for key, kept in fresh.items()}


def _derived(
    read: Read, loops: Mapping[str, Loop], scale_of: Callable[[str], LoopScale], beams: Beams
) -> dict[str, list[tuple[Caliper, dict[str, Known]]]]:
    """Return what follows from each loop's landmarks, nothing where two of them coincide."""
    found = {}
    for part in read.loops:
        if part.landmarks:
            plan = LoopPlan(
                part=part,
                loop=loops[part.file],
                scale=scale_of(part.file),
                protocol=rules_of(read),
            )
            try:
                found[part.file] = list(plan.derived(beams))
            except InputError:  # told by what follows from the read, which names the landmarks
                continue
    return found
