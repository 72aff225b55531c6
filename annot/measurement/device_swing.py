"""How far a device moves against the wall over a loop: largest less smallest of one distance."""

import itertools
from dataclasses import replace

from annot.measurement.curve_summary import CurveSummary
from annot.measurement.derived import difference_of
from annot.measurement.measure import Measurement
from annot.uncertainty import Estimate
from annot.vocabulary.device_measurands import RIDGE_SWING

BY_PROGRAM = (
    "both ends followed by a program from frame {first} to {last}: it does not count until a "
    "person has confirmed it"
)
NO_SWING = "no swing against the ridge: {}"


def swing_of(drawn: Measurement, summary: CurveSummary, *, frames: tuple[int, int]) -> Measurement:
    """Return largest less smallest of a followed distance as a measurement of its own.

    Own definition. What hand, scale, tilt and beam add is one error for all frames, so most of
    it cancels; what following adds at either end of the swing stays.

    Parameters
    ----------
    drawn : Measurement
        Of the distance to the ridge's tip, on the frame a person drew it.
    summary : CurveSummary
        Of the same distance over the loop.
    frames : (int, int)
        First and last frame that could be followed.
    """
    [outcome] = RIDGE_SWING.outcomes
    result = difference_of(summary.largest.result, summary.smallest.result)
    first, last = frames
    warnings = (
        *drawn.warnings,
        *summary.warnings,
        BY_PROGRAM.format(first=first, last=last),
        f"largest near frame {summary.largest.frame}, smallest near {summary.smallest.frame}",
    )
    return replace(
        drawn,
        caliper=replace(drawn.caliper, origin="tracked", confirmed=False),
        outcome=outcome,
        result=result,
        raw_value=result.value,
        warns=_Said(warnings=tuple(dict.fromkeys(warnings))),
        remarks=(),
    )


class _Said:
    """What a reader must know, whatever the number is, and whether it shows any motion."""

    def __init__(self, *, warnings: tuple[str, ...]) -> None:
        self._warnings = warnings

    def __call__(self, found: Estimate) -> tuple[str, ...]:
        still = found.interval.low <= 0.0
        more = ("the interval reaches zero: no swing is shown",) if still else ()
        return tuple(itertools.chain(self._warnings, more))
