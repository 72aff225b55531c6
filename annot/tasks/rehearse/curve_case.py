"""One case of the curve study: a width over some beats, its frames noisy, its largest known.

No picture: what is asked is whether the step from a curve to its largest and smallest keeps its
word. Own shapes, which share nothing with the model that the instrument fits.
"""

import math
from collections.abc import Callable
from dataclasses import dataclass
from types import MappingProxyType

import numpy as np
from numpy.typing import NDArray

from annot.measurement.curve_process import draw_curve
from annot.measurement.peak import Peak, largest_of, smallest_of
from annot.tasks.rehearse.tally import NAIVE
from annot.tasks.rehearse.trial import Answered, Trial, trial_of
from annot.uncertainty import CoverageInterval, coverage_factor

FloatArray = NDArray[np.float64]
Course = Callable[[FloatArray], FloatArray]
WIDTH_MM = 24.0
FINE_PER_FRAME = 20
ARM = "as drawn"

DRAWN = {
    "frames": "15 to 60 a second, over 2 to 5 beats of 600 to 1200 ms, at most 200 frames; "
    "the first R wave anywhere in the first beat",
    "course": "about 24 mm: wave, one narrow peak, plateau, two peaks, three waves that keep "
    "no step with the beat, or no movement at all",
    "movement": "1 to 6 mm; each beat's own differs by 10 % (normal)",
    "noise": "normal, 0.05 to 1 of the movement, logarithmic",
    "noise over time": "a third of cases from frame to frame, else as an autoregressive "
    "process of 15 to 100 ms",
}


@dataclass(frozen=True, slots=True, kw_only=True)
class CurveCase:
    """A drawn curve.

    Attributes
    ----------
    course : callable
        The true width at any times.
    seen : ndarray, shape (frames,)
    beat : slice
        Frames of the first whole beat.
    noise : float
        Standard deviation in mm.
    step_correlation : float
        Of the noise of one frame with that of the next.
    """

    shape: str
    times_ms: FloatArray
    r_waves_ms: tuple[float, ...]
    course: Course
    seen: FloatArray
    beat: slice
    noise: float
    movement: float
    step_correlation: float

    def true(self, span: slice, *, largest: bool) -> float:
        """Return the true extreme between a span's first and last frame."""
        times = self.times_ms[span]
        fine = self.course(np.linspace(times[0], times[-1], FINE_PER_FRAME * times.size))
        return float(fine.max() if largest else fine.min())


def _hump(phase: FloatArray, at: float, width: float) -> FloatArray:
    return np.asarray(np.exp(-0.5 * ((phase - at) / width) ** 2))


def _wave(phase: FloatArray) -> FloatArray:
    return np.asarray(0.5 - 0.5 * np.cos(2 * math.pi * phase))


def _narrow(phase: FloatArray) -> FloatArray:
    return _hump(phase, 0.5, 0.09)


def _plateau(phase: FloatArray) -> FloatArray:
    return np.asarray(1 / (1 + np.exp((0.3 - phase) / 0.05)) / (1 + np.exp((phase - 0.8) / 0.05)))


def _two(phase: FloatArray) -> FloatArray:
    return _hump(phase, 0.35, 0.08) + 0.8 * _hump(phase, 0.7, 0.07)


def _still(phase: FloatArray) -> FloatArray:
    return np.zeros_like(phase)


BEATING = MappingProxyType(
    {"wave": _wave, "one peak": _narrow, "plateau": _plateau, "two peaks": _two, "still": _still}
)
SHAPES = (*BEATING, "irregular")


def draw(case: int, rng: np.random.Generator) -> CurveCase:
    """Draw a curve; shapes take turns, all else is drawn."""
    shape = SHAPES[case % len(SHAPES)]
    rate, beats, length = rng.uniform(15, 60), int(rng.integers(2, 6)), rng.uniform(600, 1200)
    frames = int(min(length * beats * rate / 1000, 200))
    times = np.arange(frames) * 1000 / rate
    waves = np.arange(rng.uniform(0, length), times[-1], length)
    movement = rng.uniform(1, 6)
    course = _course(shape, movement, float(waves[0]), length, rng)
    noise = movement * math.exp(rng.uniform(math.log(0.05), 0.0))
    memory_ms = 0.0 if rng.random() < 1 / 3 else rng.uniform(15, 100)
    kept = math.exp(-1000 / rate / memory_ms) if memory_ms else 0.0
    last = waves[1] if waves.size > 1 else times[-1] + 1
    inside = np.flatnonzero((times >= waves[0]) & (times < last))
    return CurveCase(
        shape=shape,
        times_ms=times,
        r_waves_ms=tuple(float(one) for one in waves),
        course=course,
        seen=course(times) + noise * _noise(frames, kept, rng),
        beat=slice(int(inside[0]), int(inside[-1]) + 1),
        noise=noise,
        movement=movement,
        step_correlation=kept,
    )


def _course(
    shape: str, movement: float, first_ms: float, length_ms: float, rng: np.random.Generator
) -> Course:
    if shape == "irregular":
        rates, turns = rng.uniform(0.6, 3.0, 3), rng.uniform(0, 2 * math.pi, 3)
        sizes = rng.uniform(0.3, 1.0, 3)
        sizes /= 2 * sizes.sum()
        return lambda times: np.asarray(
            WIDTH_MM
            + movement
            * sizes
            @ np.sin(2 * math.pi * rates[:, None] * times / 1000 + turns[:, None])
        )
    own, form = 1 + 0.1 * rng.standard_normal(8), BEATING[shape]

    def course(times: FloatArray) -> FloatArray:
        places = (times - first_ms) / length_ms
        beat = np.floor(places)
        return np.asarray(WIDTH_MM + movement * own[beat.astype(int) + 1] * form(places - beat))

    return course


def _noise(frames: int, kept: float, rng: np.random.Generator) -> FloatArray:
    noise = rng.standard_normal(frames)
    for index in range(1, frames):
        noise[index] = kept * noise[index - 1] + math.sqrt(1 - kept**2) * noise[index]
    return np.asarray(noise)


def run_curve_case(case: int, rng: np.random.Generator) -> list[Trial]:
    """Find the largest of all and of a beat, and the smallest, of one drawn curve."""
    drawn = draw(case, rng)
    curve = draw_curve(drawn.seen, drawn.times_ms, r_waves_ms=drawn.r_waves_ms, rng=rng)
    whole = slice(0, drawn.seen.size)
    return [
        _trial(case, drawn, "largest of all", whole, largest_of(curve, whole)),
        _trial(case, drawn, "largest of a beat", drawn.beat, largest_of(curve, drawn.beat)),
        _trial(case, drawn, "smallest of all", whole, smallest_of(curve, whole)),
    ]


def _trial(case: int, drawn: CurveCase, quantity: str, span: slice, found: Peak) -> Trial:
    largest, seen = quantity.startswith("largest"), drawn.seen[span]
    blank = Trial(
        case=case,
        arm=ARM,
        labels={
            "quantity": quantity,
            "shape": drawn.shape,
            "noise": _class_of(drawn.noise / drawn.movement, (0.15, 0.4), "of the movement"),
            "noise over time": _class_of(drawn.step_correlation, (1e-9, 0.35), "to the next frame"),
        },
        unit="mm",
        true=drawn.true(span, largest=largest),
        beside={NAIVE: float(seen.max() if largest else seen.min())},
    )
    reach = coverage_factor(math.inf) * found.u
    interval = CoverageInterval(
        low=found.value - reach,
        high=found.value + reach,
        probability=0.95,
        coverage_factor=coverage_factor(math.inf),
    )
    return trial_of(Answered(value=found.value, u=found.u, interval=interval), blank)


def _class_of(value: float, limits: tuple[float, float], words: str) -> str:
    low, high = limits
    if value < low:
        return "none " + words if low < 1e-6 else f"below {low:g} {words}"
    return f"up to {high:g} {words}" if value < high else f"above {high:g} {words}"
