"""A tracked curve's largest and smallest, over all and beat by beat, with their moments."""

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import groupby

import numpy as np
from numpy.typing import NDArray

from annot.errors import InputError
from annot.measurement.curve_process import CurveDraws, draw_curve
from annot.measurement.derived import change_percent, mean_of
from annot.measurement.peak import LEAST_FRAMES, Peak, largest_of, smallest_of
from annot.measurement.phase import Phase, phase_at
from annot.measurement.tracked_curve import CurvePoint
from annot.uncertainty import InputQuantity, MeasurementResult, propagate, stated

FloatArray = NDArray[np.float64]
# own simulation: below it the moment of the largest is chance (`annot validate curve`, still)
LITTLE_BY_NOISE = 2.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Extreme:
    """The largest or smallest of a smoothed curve.

    Attributes
    ----------
    result : MeasurementResult
        Freed of what noise and smoothing add; shares scale and hand with the frame it lies near.
    frame : int
        The nearest frame.
    removed : float
        What was taken off the largest (smallest) frame as seen, in the result's unit.
    """

    result: MeasurementResult
    frame: int
    time_ms: float
    phase: Phase | None
    removed: float


@dataclass(frozen=True, slots=True, kw_only=True)
class BeatExtremes:
    """One beat's largest and smallest; `whole` if its frames reach from R wave to R wave."""

    beat: int
    frames: int
    whole: bool
    largest: Extreme
    smallest: Extreme


@dataclass(frozen=True, slots=True, kw_only=True)
class CurveSummary:
    """What a tracked curve says.

    Attributes
    ----------
    smoothed : tuple of float
        One a point of the curve.
    change : MeasurementResult
        Largest against smallest in percent; the scale cancels.
    mean_largest : MeasurementResult or None
        Over whole beats.
    sd_between_beats : float or None
        How beats differ, not how well one is known.
    """

    smoothed: tuple[float, ...]
    largest: Extreme
    smallest: Extreme
    change: MeasurementResult
    beats: tuple[BeatExtremes, ...]
    mean_largest: MeasurementResult | None
    sd_between_beats: float | None
    warnings: tuple[str, ...]


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _Curve:
    points: Sequence[CurvePoint]
    times_ms: FloatArray
    values: FloatArray
    r_waves_ms: Sequence[float]
    drawn: CurveDraws

    def extreme(self, span: slice, *, largest: bool) -> Extreme:
        top = (largest_of if largest else smallest_of)(self.drawn, span)
        seen = self.values[span]
        point, time = self.points[top.index], float(self.times_ms[top.index])
        return Extreme(
            result=self._result(point, top, "largest" if largest else "smallest"),
            frame=point.frame,
            time_ms=time,
            phase=phase_at(time, self.r_waves_ms),
            removed=float(seen.max() if largest else seen.min()) - top.value,
        )

    def _result(self, point: CurvePoint, top: Peak, which: str) -> MeasurementResult:
        base = point.measurement.result
        shift: InputQuantity = stated(
            top.value - base.value,
            max(top.u, 1e-9),
            key=f"{point.measurement.caliper.key}@{point.frame}:{which}",
            unit=base.unit,
            component="other",
            source="finding the largest or smallest of a noisy curve",
        )
        return propagate(_sum, [base, shift], unit=base.unit)


def summarise(
    points: Sequence[CurvePoint],
    times_ms: Sequence[float],
    *,
    r_waves_ms: Sequence[float] = (),
    rng: np.random.Generator,
) -> CurveSummary:
    """Summarise a tracked curve.

    Parameters
    ----------
    points : sequence of CurvePoint
        Without gaps, in one unit.
    times_ms : sequence of float
        One a point.
    r_waves_ms : sequence of float
        On the same time axis; without them there are no beats.
    rng : numpy.random.Generator

    Raises
    ------
    InputError
        If the curve is too short to be smoothed, changes its unit on the way, or its times stand
        still.
    """
    if len(points) < LEAST_FRAMES:
        raise InputError(
            f"The caliper could be followed over {len(points)} frames only; {LEAST_FRAMES} are "
            "needed to tell its largest: draw it on a frame with a clear wall."
        )
    if len({point.measurement.result.unit for point in points}) > 1:
        raise InputError("The tracked ends leave the part of the picture where the scale holds.")
    times = np.asarray(times_ms, dtype=float)
    _refuse_one_time(points, times)
    values = np.array([point.measurement.result.value for point in points])
    curve = _Curve(
        points=points,
        times_ms=times,
        values=values,
        r_waves_ms=r_waves_ms,
        drawn=draw_curve(values, times, r_waves_ms=r_waves_ms, rng=rng),
    )
    whole = slice(0, len(points))
    beats = _beats(curve)
    tops = [beat.largest.result for beat in beats if beat.whole]
    largest, smallest = (curve.extreme(whole, largest=one) for one in (True, False))
    return CurveSummary(
        smoothed=tuple(float(one) for one in curve.drawn.mean),
        largest=largest,
        smallest=smallest,
        change=change_percent(largest.result, smallest.result),
        beats=beats,
        mean_largest=mean_of(tops) if tops else None,
        sd_between_beats=float(np.std([t.value for t in tops], ddof=1)) if len(tops) > 1 else None,
        warnings=(*_warnings(beats, r_waves_ms), *_about_noise(curve.drawn)),
    )


def _refuse_one_time(points: Sequence[CurvePoint], times_ms: FloatArray) -> None:
    """Refuse frames of one time: how a curve went between them cannot be told."""
    still = np.flatnonzero(np.diff(times_ms) <= 0)
    if still.size:
        first, second = (points[int(still[0]) + step].frame for step in (0, 1))
        raise InputError(
            f"Frames {first} and {second} do not follow one another by the loop's frame times, so "
            "there is no curve over time: see the times with annot loops."
        )


def _beats(curve: _Curve) -> tuple[BeatExtremes, ...]:
    phases = [phase_at(float(time), curve.r_waves_ms) for time in curve.times_ms]
    numbered = [
        (phase.beat if phase is not None and phase.percent is not None else None, index)
        for index, phase in enumerate(phases)
    ]
    step = float(np.median(np.diff(curve.times_ms)))
    found = []
    for beat, group in groupby(numbered, key=lambda one: one[0]):
        own = [index for _, index in group]
        if beat is None or len(own) < LEAST_FRAMES:
            continue
        span = slice(own[0], own[-1] + 1)
        start, end = curve.r_waves_ms[beat], curve.r_waves_ms[beat + 1]
        first, last = curve.times_ms[own[0]], curve.times_ms[own[-1]]
        found.append(
            BeatExtremes(
                beat=beat,
                frames=len(own),
                whole=bool(first - start < 1.5 * step and end - last < 1.5 * step),
                largest=curve.extreme(span, largest=True),
                smallest=curve.extreme(span, largest=False),
            )
        )
    return tuple(found)


def _warnings(beats: Sequence[BeatExtremes], r_waves_ms: Sequence[float]) -> tuple[str, ...]:
    warnings = ["tracked by a program: no value counts until a person has confirmed it"]
    if not r_waves_ms:
        warnings.append("the loop states no R waves: no phase and no beats")
    elif not any(beat.whole for beat in beats):
        warnings.append("no beat was followed from R wave to R wave")
    return tuple(warnings)


def _about_noise(drawn: CurveDraws) -> tuple[str, ...]:
    """Say that a curve moves too little beside its noise to have moments of its own."""
    moved = float(np.ptp(drawn.mean))
    if moved >= LITTLE_BY_NOISE * drawn.noise:
        return ()
    return (
        f"the curve moves by {moved:.2g}, little beside its noise of {drawn.noise:.2g}: when it "
        "is largest or smallest cannot be told",
    )


def _sum(base: FloatArray, shift: FloatArray) -> FloatArray:
    return base + shift
