"""What a reader must know of one measurement, in words."""

from annot.calibration import NoScale, PixelScale
from annot.measurement.caliper import Caliper
from annot.measurement.echo_beam import Beam
from annot.measurement.placement import ECHO_BLIND_MM, END_PX
from annot.uncertainty import Estimate
from annot.vocabulary import Outcome

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
    one_view = (ONE_VIEW,) if outcome.form == "angle" else ()
    if isinstance(scale, NoScale):
        return (
            _no_scale(outcome, scale),
            *scale.warnings,
            *notes,
            *_unused(caliper),
            *one_view,
            *confirmed,
        )
    warnings = [*scale.warnings, *notes, *one_view]
    low, high = outcome.plausible
    unit = {"mm2": "mm²", "deg": "°"}.get(outcome.unit, outcome.unit)
    if not low <= found.value <= high:
        warnings.append(
            f"{found.value:.1f} {unit} is outside {low:g} to {high:g} {unit}, where "
            f"{outcome.title.lower()} usually lies: check frame, scale and points"
        )
    if found.interval.low < 0:
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
    if scale.overruled:
        warnings.append(f"scale overruled: {scale.overruled}")
    return (*warnings, *confirmed)


def _what(outcome: Outcome) -> str:
    return {"angle": "an angle", "area": "an area"}.get(outcome.form, "a length")


def _no_scale(outcome: Outcome, scale: NoScale) -> str:
    if outcome.form == "angle":
        return f"no scale, so square pixels are assumed for the angle: {scale.reason}"
    return f"no scale, so the {_what(outcome).split()[1]} is in pixels: {scale.reason}"


def _unused(caliper: Caliper) -> tuple[str, ...]:
    """Say what stands in for an uncertainty that needs a scale."""
    if caliper.u_end_mm is None:
        return ()
    return (
        f"the uncertainty of an end is stated in mm, which needs a scale: {END_PX.value:g} px "
        f"assumed ({END_PX.source})",
    )
