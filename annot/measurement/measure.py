"""A caliper and a scale become measurements: value, budget, interval, warnings."""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from functools import partial

import numpy as np
from numpy.typing import NDArray

from annot.calibration import NoScale, PixelScale
from annot.geometry import PixelPoint
from annot.measurement.caliper import Caliper
from annot.measurement.caliper_model import CaliperModel, Term
from annot.measurement.drawn_shape import CONTOUR_FORMS, shape_of
from annot.measurement.echo_beam import Beam, Blur, blur_of, middle_of
from annot.measurement.measure_warnings import blind_notes, warnings_of
from annot.measurement.placed_points import coordinates_of
from annot.measurement.placement import BETWEEN_VERTICES
from annot.measurement.repeats import Scatter
from annot.measurement.tilt import TiltRule, tilt_rule
from annot.uncertainty import (
    CoverageInterval,
    Estimate,
    InputQuantity,
    MeasurementResult,
    Quantity,
    estimate,
    exact,
    propagate,
    provisional_estimate,
    quick_estimate,
    rectangular,
)
from annot.vocabulary import Outcome

FloatArray = NDArray[np.float64]


@dataclass(frozen=True, slots=True, kw_only=True)
class Known:
    """What else is known where a caliper lies, beside its scale.

    Attributes
    ----------
    beam : Beam or None
        Ultrasound: where the beams start; None where that is not known.
    placing, frame : Scatter or None
        The reader's own repeats of this outcome, on one frame and with the frame chosen anew.
    notes : tuple of str
        Warnings that belong to it.
    """

    beam: Beam | None = None
    placing: Scatter | None = None
    frame: Scatter | None = None
    notes: tuple[str, ...] = ()


Warns = Callable[[Estimate], tuple[str, ...]]


@dataclass(frozen=True, slots=True, kw_only=True)
class Measurement:
    """The evidence and the number together.

    Attributes
    ----------
    caliper : Caliper
    outcome : Outcome
        Which of the caliper's numbers this is.
    scale : PixelScale or NoScale
        Without a scale the result is in pixels and `warnings` says why.
    result : MeasurementResult
        First-order value and budget, in mm, mm2 or deg; px or px2 without a scale.
    raw_value : float
        The number of the straight lines as drawn, before any correction for tilt, in the same
        unit.
    warns : callable
        Gives the warnings of an answer, which depend on it.
    remarks : tuple of str
        What else a reader must know.
    estimate : Estimate
        The answer: value, u and interval, by Monte Carlo where first order fails. Worked out when
        it is first asked for, because drawing takes up to a second; `provisional` is at hand at
        once.
    """

    caliper: Caliper
    outcome: Outcome
    scale: PixelScale | NoScale
    result: MeasurementResult
    raw_value: float
    warns: Warns = field(repr=False, compare=False)
    remarks: tuple[str, ...] = ()
    _kept: list[Estimate] = field(init=False, repr=False, compare=False, default_factory=list)

    @property
    def estimate(self) -> Estimate:
        """The answer; wherever it is asked for, the same rule chooses the method."""
        if not self._kept:
            self._kept.append(estimate(self.result))
        return self._kept[0]

    @property
    def warnings(self) -> tuple[str, ...]:
        """What a reader must know of the answer."""
        return self.warnings_of(self.estimate)

    def warnings_of(self, found: Estimate) -> tuple[str, ...]:
        """Return what a reader must know, by the answer or by the provisional one."""
        return (*self.warns(found), *self.remarks)

    def with_remarks(self, *remarks: str) -> "Measurement":
        """Return the same measurement with more to know of it."""
        more = replace(self, remarks=(*self.remarks, *remarks))
        more._kept.extend(self._kept)
        return more

    @property
    def provisional(self) -> Estimate:
        """The answer by first order alone, for a number that is still being drawn."""
        return provisional_estimate(self.result)

    @property
    def answered(self) -> bool:
        """Whether the answer has been worked out already."""
        return bool(self._kept)

    def settled(self) -> bool:
        """Tell whether the answer is at hand; it is made where a cheap look suffices for it."""
        if not self._kept:
            quick = quick_estimate(self.result)
            if quick is not None:
                self._kept.append(quick)
        return self.answered

    @property
    def interval(self) -> CoverageInterval:
        """95 % coverage interval by the method of the estimate."""
        return self.estimate.interval


def measure_caliper(
    caliper: Caliper, scale: PixelScale | NoScale, *, modality: str, known: Known | None = None
) -> Measurement:
    """Measure the first number of a caliper: its length or angle, or a contour's area."""
    outcome = caliper.measurand.outcomes[0]
    return measure_outcome(caliper, outcome, scale, modality=modality, known=known)


def measure_outcome(
    caliper: Caliper,
    outcome: Outcome,
    scale: PixelScale | NoScale,
    *,
    modality: str,
    known: Known | None = None,
) -> Measurement:
    """Measure one number of a caliper.

    Inputs: the scale's own (shared by every caliper under it), both coordinates of each point
    with placing, pixel grid and, in ultrasound, what the beam does not resolve, the speed of
    sound (shared by a study's loops of one machine), what lies between a contour's vertices, and
    tilt and choice of frame where they act.

    Parameters
    ----------
    caliper : Caliper
    outcome : Outcome
        One of `caliper.measurand.outcomes`.
    scale : PixelScale or NoScale
        The scale that holds at the caliper's points.
    modality : str
        DICOM modality of the loop, which decides how a tilt shows and whether beams blur.
    known : Known, optional
    """
    drawing = _Drawing(caliper=caliper, outcome=outcome, scale=scale, modality=modality)
    known = known or Known()
    return drawing.measured(known, drawing.placed(known))


def measure_moved(
    drawn: Caliper,
    moved: Caliper,
    scale: PixelScale | NoScale,
    shifts: Sequence[InputQuantity],
    *,
    modality: str,
    known: Known,
) -> Measurement:
    """Measure a caliper's first number where its points have been carried to.

    Parameters
    ----------
    drawn, moved : Caliper
        As a person drew it, and at its new points: the errors of the hand, the beam and the
        tilt are those of the drawn one and shared by every frame.
    shifts : sequence of InputQuantity
        Row and column of every point, from drawn to moved; empty where nothing moved.
    """
    outcome = drawn.measurand.outcomes[0]
    first = _Drawing(caliper=drawn, outcome=outcome, scale=scale, modality=modality)
    placed = (
        [
            propagate(_sum, [place, shift], unit="px")
            for place, shift in zip(first.placed(known), shifts, strict=True)
        ]
        if shifts
        else first.placed(known)
    )
    now = _Drawing(caliper=moved, outcome=outcome, scale=scale, modality=modality)
    return now.measured(known, placed, terms_of=drawn)


def _sum(first: FloatArray, second: FloatArray) -> FloatArray:
    return first + second


@dataclass(frozen=True, slots=True, kw_only=True)
class _Drawing:
    """One outcome of a caliper under a scale."""

    caliper: Caliper
    outcome: Outcome
    scale: PixelScale | NoScale
    modality: str

    @property
    def echo(self) -> bool:
        """Whether beams blur it and sound's speed stretches it."""
        return self.modality == "US" and isinstance(self.scale, PixelScale)

    def placed(self, known: Known) -> list[MeasurementResult]:
        """Return the coordinates with what hand, grid and beam add."""
        row, column = _scales(self.scale)
        sizes = (row.value, column.value)
        return coordinates_of(
            self.caliper,
            sizes if self.scale else None,
            blurs=_blurs(self.caliper, sizes, known.beam) if self.echo else [],
            by_repeats=_by_repeats(self.caliper, known),
        )

    def measured(
        self,
        known: Known,
        placed: Sequence[MeasurementResult],
        *,
        terms_of: Caliper | None = None,
    ) -> Measurement:
        """Return the measurement of placed coordinates; `terms_of` names whose tilt acts."""
        caliper, outcome, scale = terms_of or self.caliper, self.outcome, self.scale
        row, column = _scales(scale)
        tilt = tilt_rule(caliper, self.modality)
        terms = _terms(caliper, outcome, known, tilt, echo=self.echo)
        model, raw = _model(self.caliper, outcome, (row.value, column.value), terms, known.beam)
        quantities: list[Quantity] = [row, column, *placed, *terms.values()]
        result = propagate(model, quantities, unit=outcome.unit if scale else outcome.unit_px)
        notes = (*tilt.warnings, *known.notes, *(blind_notes(known.beam) if self.echo else ()))
        return Measurement(
            caliper=self.caliper,
            outcome=outcome,
            scale=scale,
            result=result,
            raw_value=raw,
            warns=partial(warnings_of, self.caliper, outcome, scale, notes=notes),
        )


def measure_all(
    caliper: Caliper,
    scale: PixelScale | NoScale,
    *,
    modality: str,
    known: Mapping[str, Known] | None = None,
) -> tuple[Measurement, ...]:
    """Measure every number that a caliper gives; `known` is by the outcome's name."""
    known = known or {}
    return tuple(
        measure_outcome(caliper, one, scale, modality=modality, known=known.get(one.name))
        for one in caliper.measurand.outcomes
    )


def drawn_value(caliper: Caliper, outcome: Outcome, scale: PixelScale | NoScale) -> float:
    """Return the bare number of a drawing under a scale, for comparing repeats with each other."""
    row, column = _scales(scale)
    model, raw = _model(caliper, outcome, (row.value, column.value), {}, None)
    return raw + model.gap


def _terms(
    caliper: Caliper, outcome: Outcome, known: Known, tilt: TiltRule, *, echo: bool
) -> dict[Term, InputQuantity]:
    """Return the terms that act on the whole, in the model's order of application."""
    terms: dict[Term, InputQuantity] = {}
    key = f"{caliper.key}:{outcome.name}"
    if echo and known.beam is not None:
        terms["sound"] = known.beam.sound()
    if outcome.form in CONTOUR_FORMS:
        terms["between"] = _between(caliper)
    if known.placing is not None and _by_repeats(caliper, known):
        terms["placing"] = known.placing.as_input(key)
    if tilt.factor is not None:
        terms["tilt"] = tilt.factor
    if known.frame is not None and caliper.origin == "drawn":
        terms["frame"] = known.frame.as_input(key)
    return terms


def _model(
    caliper: Caliper,
    outcome: Outcome,
    sizes: tuple[float, float],
    terms: Mapping[Term, InputQuantity],
    beam: Beam | None,
) -> tuple[CaliperModel, float]:
    """Return the model and the number of the straight lines as drawn."""
    places = [PixelPoint(p.row * sizes[0], p.column * sizes[1]) for p in caliper.points]
    rows, columns = ([np.asarray(place[axis]) for place in places] for axis in (0, 1))
    shape = shape_of(outcome.form, places)
    raw = float(shape.as_drawn(rows, columns))
    ray = (1.0, 0.0) if beam is None else beam.ray(middle_of(caliper.points), sizes)[0]
    gap = float(shape.of(rows, columns)) - raw
    return CaliperModel(shape=shape, points=len(places), terms=tuple(terms), beam=ray, gap=gap), raw


def _blurs(caliper: Caliper, sizes: tuple[float, float], beam: Beam | None) -> list[list[Blur]]:
    """Return the blur of each point's marks; a fit to the wall's edge knows the blur already."""
    if caliper.origin == "refined":
        return []
    return [
        [blur_of(mark.point, mark.key, sizes, beam) for mark in caliper.rests_on(index)]
        for index in range(len(caliper.points))
    ]


def _by_repeats(caliper: Caliper, known: Known) -> bool:
    """Whether the reader's repeats say how well this caliper is placed.

    What the read states for an end goes before them, and they say nothing about an end that a fit
    or a tracker placed.
    """
    spoken = known.placing is not None or (known.frame is not None and known.frame.whole)
    return spoken and not caliper.states_ends and caliper.origin == "drawn"


def _scales(scale: PixelScale | NoScale) -> tuple[Quantity, Quantity]:
    if isinstance(scale, NoScale):
        one = exact(1.0, key="no-scale", unit="px/px", source="no scale: lengths in pixels")
        return one, one
    return scale.row, scale.column


def _between(caliper: Caliper) -> InputQuantity:
    return rectangular(
        0.0,
        BETWEEN_VERTICES.value,
        key=f"{caliper.key}:between",
        unit="1",
        component="ends",
        source=f"{BETWEEN_VERTICES.meaning} ({BETWEEN_VERTICES.source})",
    )
