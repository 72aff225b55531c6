"""What a reader must know of one measurement, in words."""

from annot.calibration import NoScale, PixelScale
from annot.measurement.caliper import Caliper
from annot.measurement.echo_beam import Beam
from annot.measurement.placement import ECHO_BLIND_MM, END_PX
from annot.uncertainty import Estimate
from annot.vocabulary import Outcome
from annot.vocabulary.measurands import SIGNED

ONE_VIEW = "an angle as seen in one view: the true one is another wherever a leg leans out of it"


def blind_notes(beam: Beam | None) -> tuple[str, ...]:
    """Say what stands in for the beam where its direction is not known."""
    if beam is not None:
        return ()
    return (
        f"direction of the ultrasound beam not known: {ECHO_BLIND_MM.value:g} mm resolution "
        "assumed in every direction, speed of sound not in the interval: state apex_px",
    )


def warnings_of(
    caliper: Caliper,
    outcome: Outcome,
    scale: PixelScale | NoScale,
    found: Estimate,
    *,
    notes: tuple[str, ...] = (),
) -> tuple[str, ...]:
    """Return the warnings of a measurement, those of scale and surroundings (`notes`) first."""
    confirmed = () if caliper.confirmed else ("not confirmed by a person",)
    one_view = (ONE_VIEW,) if outcome.unit == "deg" else ()
    if isinstance(scale, NoScale):
        return (
            _no_scale(outcome, scale),
            *scale.warnings,
            *notes,
            *_unused(caliper),
            *one_view,
            *confirmed,
        )
    warnings = [*scale.warnings, *notes, *one_view, *_of_the_value(outcome, found)]
    if scale.overruled:
        warnings.append(f"scale overruled: {scale.overruled}")
    return (*warnings, *confirmed)


def _of_the_value(outcome: Outcome, found: Estimate) -> list[str]:
    """Return what is odd about the number itself."""
    warnings: list[str] = []
    signed = outcome.name in SIGNED
    low, high = outcome.plausible
    unit = {"mm2": "mm²", "deg": "°", "1": ""}.get(outcome.unit, outcome.unit)
    if not low <= found.value <= high:
        warnings.append(
            f"{found.value:.1f} {unit} is outside {low:g} to {high:g} {unit}, where "
            f"{outcome.title.lower()} usually lies: check frame, scale and points"
        )
    if outcome.form == "cover" and found.u == 0:
        warnings.append("the device reaches past both ends of the ostium's line in this view")
    if outcome.form == "between" and found.value < 2 * found.u:
        warnings.append("the interval reaches zero: no tilt is shown")
    elif signed:
        pass
    elif found.interval.low < 0:
        warnings.append(
            f"the interval reaches below zero: this reading says nothing about {_what(outcome)}"
        )
    elif found.interval.half_width > abs(found.first_order_value):
        warnings.append(
            f"the interval is wider than what was drawn is large: this reading says next to "
            f"nothing about {_what(outcome)}"
        )
    if outcome.form == "angle" and found.interval.high > 180:
        warnings.append("the interval reaches beyond a straight line: no bend is shown")
    return warnings


def _what(outcome: Outcome) -> str:
    return {"deg": "an angle", "mm2": "an area", "1": "a share"}.get(outcome.unit, "a length")


def _no_scale(outcome: Outcome, scale: NoScale) -> str:
    what = "the share" if outcome.unit == "1" else "the angle"
    if outcome.unit in {"deg", "1"}:
        return f"no scale, so square pixels are assumed for {what}: {scale.reason}"
    return f"no scale, so the {_what(outcome).split()[1]} is in pixels: {scale.reason}"


def _unused(caliper: Caliper) -> tuple[str, ...]:
    """Say what stands in for an uncertainty that needs a scale."""
    if caliper.u_end_mm is None:
        return ()
    return (
        f"the uncertainty of an end is stated in mm, which needs a scale: {END_PX.value:g} px "
        f"assumed ({END_PX.source})",
    )
