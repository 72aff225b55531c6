"""Where a time lies in the heart's cycle: which beat, which part of it."""

from bisect import bisect_right
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise

from annot.errors import InputError


@dataclass(frozen=True, slots=True, kw_only=True)
class Phase:
    """A beat and the part of it that has passed.

    Attributes
    ----------
    beat : int
        0 from the first R wave on; −1 before it.
    percent : float or None
        Of the R-R interval; None outside the R waves, where the interval's length is not known.
    """

    beat: int
    percent: float | None


def phase_at(time_ms: float, r_waves_ms: Sequence[float]) -> Phase | None:
    """Return the phase at a time, None without R waves.

    Raises
    ------
    InputError
        If the R waves do not run forward in time.
    """
    if not r_waves_ms:
        return None
    if any(later <= earlier for earlier, later in pairwise(r_waves_ms)):
        raise InputError("R waves must run forward in time: check the loop's R-wave times.")
    beat = bisect_right(r_waves_ms, time_ms) - 1
    if beat < 0 or beat + 1 >= len(r_waves_ms):
        return Phase(beat=beat, percent=None)
    start, end = r_waves_ms[beat], r_waves_ms[beat + 1]
    return Phase(beat=beat, percent=100.0 * (time_ms - start) / (end - start))
