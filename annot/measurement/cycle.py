"""A measurand over the frames of a loop: the largest, the smallest, when, and beat by beat."""

from collections import defaultdict
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from annot.errors import InputError
from annot.measurement.derived import change_percent, mean_of
from annot.measurement.measure import Measurement
from annot.measurement.phase import Phase, phase_at
from annot.uncertainty import MeasurementResult

READS_HIGH = (
    "the largest of several readings reads high and the smallest low, the more the readings "
    "scatter: nothing is corrected here"
)
FEW_FRAMES = 5


@dataclass(frozen=True, slots=True, kw_only=True)
class Moment:
    """One measurement with its time and phase; no phase without R waves."""

    measurement: Measurement
    time_ms: float
    phase: Phase | None


@dataclass(frozen=True, slots=True, kw_only=True)
class BeatSummary:
    """Largest and smallest of the frames measured in one beat."""

    beat: int
    frames: int
    largest: Moment
    smallest: Moment


@dataclass(frozen=True, slots=True, kw_only=True)
class CycleSummary:
    """One measurand over time.

    Attributes
    ----------
    largest, smallest : Moment
        Over all frames.
    change : MeasurementResult
        Largest against smallest, in percent; the scale cancels.
    beats : tuple of BeatSummary
        Empty without R waves.
    mean_largest : MeasurementResult or None
        Mean of the beats' largest, shared inputs counted as shared.
    sd_between_beats : float or None
        Standard deviation of the beats' largest: how beats differ, not how well one is known.
    """

    largest: Moment
    smallest: Moment
    change: MeasurementResult
    beats: tuple[BeatSummary, ...] = ()
    mean_largest: MeasurementResult | None = None
    sd_between_beats: float | None = None
    warnings: tuple[str, ...] = ()


def over_cycle(
    measurements: Sequence[Measurement], times_ms: ArrayLike, *, r_waves_ms: Sequence[float] = ()
) -> CycleSummary:
    """Summarise one number measured on several frames.

    Parameters
    ----------
    measurements : sequence of Measurement, at least one
        Of one outcome in one unit.
    times_ms : array_like, same length
        When each was seen.
    r_waves_ms : sequence of float
        On the same time axis; without them there is no phase and no beat.

    Raises
    ------
    InputError
        If there is nothing, outcomes or units differ, or times are missing.
    """
    times = np.asarray(times_ms, dtype=float)
    _refuse(measurements, times.tolist())
    moments = [
        Moment(measurement=one, time_ms=float(time), phase=phase_at(float(time), r_waves_ms))
        for one, time in zip(measurements, times, strict=True)
    ]
    beats = _beats(moments)
    tops = [beat.largest.measurement.result for beat in beats]
    largest, smallest = _extremes(moments)
    return CycleSummary(
        largest=largest,
        smallest=smallest,
        change=change_percent(largest.measurement.result, smallest.measurement.result),
        beats=beats,
        mean_largest=mean_of(tops) if tops else None,
        sd_between_beats=float(np.std([top.value for top in tops], ddof=1))
        if len(tops) > 1
        else None,
        warnings=_warnings(moments, beats, r_waves_ms),
    )


def _refuse(measurements: Sequence[Measurement], times: Sequence[float]) -> None:
    if not measurements or len(measurements) != len(times):
        raise InputError(
            f"Each measurement needs its time: got {len(measurements)} measurements and "
            f"{len(times)} times."
        )
    kinds = {(one.outcome.name, one.result.unit) for one in measurements}
    if len(kinds) > 1:
        words = ", ".join(sorted(f"{name} in {unit}" for name, unit in kinds))
        raise InputError(f"A cycle is of one quantity in one unit, got {words}.")


def _extremes(moments: Sequence[Moment]) -> tuple[Moment, Moment]:
    ordered = sorted(moments, key=lambda one: one.measurement.result.value)
    return ordered[-1], ordered[0]


def _beats(moments: Sequence[Moment]) -> tuple[BeatSummary, ...]:
    """Return the beats that begin and end at an R wave and hold a measured frame."""
    found: dict[int, list[Moment]] = defaultdict(list)
    for one in moments:
        if one.phase is not None and one.phase.percent is not None:
            found[one.phase.beat].append(one)
    summaries = []
    for beat, own in sorted(found.items()):
        largest, smallest = _extremes(own)
        summaries.append(
            BeatSummary(beat=beat, frames=len(own), largest=largest, smallest=smallest)
        )
    return tuple(summaries)


def _warnings(
    moments: Sequence[Moment], beats: Sequence[BeatSummary], r_waves_ms: Sequence[float]
) -> tuple[str, ...]:
    warnings = [READS_HIGH] if len(moments) > 1 else []
    if not r_waves_ms:
        warnings.append("the loop states no R waves: no phase and no beats")
    elif not beats:
        warnings.append("no measured frame lies between two R waves: no phase and no beats")
    if any(beat.frames < FEW_FRAMES for beat in beats):
        warnings.append(f"a beat with fewer than {FEW_FRAMES} measured frames may miss its largest")
    return tuple(warnings)
