"""The calipers' measurements, each made anew when it, its scale or what is known is another one."""

from collections.abc import Callable, Iterator, Mapping

from annot.calibration import LoopScale
from annot.measurement import Caliper, Known
from annot.tasks.measure import Beams, Measurement, known_of, measure_live
from annot.tasks.open import Loop
from annot.tasks.read import Read


class MeasuredCalipers(Mapping[str, Measurement]):
    """Measurements by caliper key, of a contour its area; identity says what is out of date."""

    def __init__(self) -> None:
        self._kept: dict[str, tuple[Caliper, LoopScale, dict[str, Known], Measurement]] = {}

    def __getitem__(self, key: str) -> Measurement:
        return self._kept[key][3]

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
        fresh = {}
        known = known_of(read, loops, {one.file: scale_of(one.file) for one in read.loops}, beams)
        for loop in read.loops:
            scale = scale_of(loop.file)
            for caliper in loop.calipers:
                kept, now = self._kept.get(caliper.key), known[caliper.key]
                if kept is None or kept[0] is not caliper or kept[1] is not scale or kept[2] != now:
                    header = loops[loop.file].header
                    made = measure_live(caliper, scale, header, known=now)[0]
                    kept = (caliper, scale, now, made)
                fresh[caliper.key] = kept
        self._kept = fresh
