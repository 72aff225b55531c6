"""The calipers' measurements, each made anew when its caliper or its scale is another one."""

from collections.abc import Callable, Iterator, Mapping

from annot.calibration import LoopScale
from annot.measurement import Caliper
from annot.tasks.measure import Measurement, measure_live
from annot.tasks.open import LoopHeader
from annot.tasks.read import Read


class MeasuredCalipers(Mapping[str, Measurement]):
    """Measurements by caliper key; identity of caliper and scale says what is out of date."""

    def __init__(self) -> None:
        self._kept: dict[str, tuple[Caliper, LoopScale, Measurement]] = {}

    def __getitem__(self, key: str) -> Measurement:
        return self._kept[key][2]

    def __iter__(self) -> Iterator[str]:
        return iter(self._kept)

    def __len__(self) -> int:
        return len(self._kept)

    def update(
        self,
        read: Read,
        headers: Mapping[str, LoopHeader],
        scale_of: Callable[[str], LoopScale],
    ) -> None:
        """Measure whatever is new or stands under another scale.

        Raises
        ------
        InputError
            If a caliper lies on a frame or at a place that its loop does not have.
        """
        fresh = {}
        for loop in read.loops:
            scale = scale_of(loop.file)
            for caliper in loop.calipers:
                kept = self._kept.get(caliper.key)
                if kept is None or kept[0] is not caliper or kept[1] is not scale:
                    made = measure_live(caliper, scale, headers[loop.file])
                    kept = (caliper, scale, made)
                fresh[caliper.key] = kept
        self._kept = fresh
