"""What is said of a measurement now: its answer, or first order's while that is not there yet."""

from collections.abc import Sequence
from dataclasses import dataclass

from annot.tasks.measure import Measurement
from napari_annot import wording


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Answer:
    """A measurement in words, made once and kept as long as nothing about it changes.

    Attributes
    ----------
    measurement : Measurement
    provisional : bool
        Whether the words are first order's alone: shown, never exported.
    value, interval : str
        Value with standard uncertainty and unit, and the interval that holds the value with
        `probability`.
    """

    measurement: Measurement
    provisional: bool
    value: str
    interval: str
    warnings: tuple[str, ...]
    probability: float

    @property
    def unscaled(self) -> bool:
        """Whether there is no scale, so that the number is in pixels."""
        return self.measurement.result.unit.startswith("px")

    @property
    def unit(self) -> str:
        """The unit as it is written."""
        unit = self.measurement.result.unit
        return wording.UNIT_SIGNS.get(unit, unit)


def answer_now(measurement: Measurement, *, look: bool = True) -> Answer:
    """Return the answer if it is at hand without simulating, else first order's.

    Without a `look` only an answer that was worked out before counts: looking takes a few
    milliseconds, which a line that follows the pointer has not.
    """
    final = measurement.settled() if look else measurement.answered
    found = measurement.estimate if final else measurement.provisional
    return Answer(
        measurement=measurement,
        provisional=not final,
        value=wording.value_words(found, measurement.result.unit),
        interval=wording.interval_words(found),
        warnings=measurement.warnings_of(found),
        probability=found.interval.probability,
    )


def label_of(title: str, answers: Sequence[Answer], *, marks: Sequence[str] = ()) -> str:
    """Return the lines beside a drawing: its numbers, each with its interval.

    Of a contour's four numbers the area and the diameter from it stand there; all four are in the
    table.
    """
    first = answers[0]
    sign = f" ({wording.NO_SCALE_SIGN})" if first.unscaled else ""
    lines = [f"{title}  {first.value}{sign}", _interval_line(first)]
    if len(answers) > 1:
        by_area = next(one for one in answers if one.measurement.outcome.form == "area_diameter")
        lines += [f"Diameter by area  {by_area.value}", _interval_line(by_area)]
    return "\n".join([*lines, *marks])


def _interval_line(answer: Answer) -> str:
    percent = f"{100 * answer.probability:.0f} %"
    mark = f", {wording.PROVISIONAL}" if answer.provisional else ""
    return f"{percent}: {answer.interval} {answer.unit}{mark}"
