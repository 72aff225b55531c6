"""The error of a spacing that a header states: one part shared by its system, one its own.

Loops of one imaging system carry that system's error together: their mean does not average it
away, and their ratio does not contain it.
"""

from dataclasses import dataclass

from annot.calibration.allowances import OWN_PART, SHARED_PART, Allowance
from annot.loops import LoopHeader
from annot.uncertainty import (
    InputQuantity,
    MeasurementResult,
    exact,
    propagate,
    rectangular,
    stated,
)


@dataclass(frozen=True, slots=True, kw_only=True)
class HeaderSpacing:
    """A stored spacing with its error, and the key of the part that its system shares."""

    result: MeasurementResult
    system_id: str | None


def header_spacing(
    header: LoopHeader,
    *,
    size_mm: float,
    key: str,
    allowance: Allowance,
    made_by: str,
    u_rel: float | None = None,
) -> HeaderSpacing:
    """Return a stored spacing with its error in two parts.

    Parameters
    ----------
    header
        Whose loop; its `system` names the imaging system.
    size_mm
        The row spacing as stored, in mm per pixel.
    key
        Prefix of the keys of the loop's own inputs.
    allowance
        The default half-width, relative, shared and own part together.
    made_by
        What the shared error belongs to, beside the system: a kind of reckoning, or one
        calibration by an operator.
    u_rel
        A relative standard uncertainty that somebody states: taken as the system's own, for a
        person knows machines, not loops.
    """
    system_id = f"system-{header.system}:{made_by}" if header.system else None
    shared_key = system_id or f"{key}:system"
    if u_rel is not None:
        shared_key = f"{shared_key}:{u_rel:g}"
        system_id = system_id and shared_key
    # without a system that is known there is nobody to share it with
    component = "system" if header.system else "scale"
    shared = _shared(shared_key, allowance, u_rel, component=component)
    own = _own(key, size_mm, allowance, u_rel)
    result = propagate(lambda size, factor: size * factor, [own, shared], unit="mm/px")
    return HeaderSpacing(result=result, system_id=system_id)


def _shared(
    key: str, allowance: Allowance, u_rel: float | None, *, component: str
) -> InputQuantity:
    if u_rel is not None:
        return stated(
            1.0,
            u_rel,
            key=key,
            unit="1",
            component=component,
            source=f"relative u = {u_rel:g} of the stored spacing, as stated for the system",
        )
    half = SHARED_PART.value * allowance.value
    return rectangular(
        1.0,
        half,
        key=key,
        unit="1",
        component=component,
        source=(
            f"shared by the system's loops, ± {100 * half:g} %: {SHARED_PART.value:g} of "
            f"{100 * allowance.value:g} % ({allowance.meaning}, {allowance.source}; "
            f"{SHARED_PART.source})"
        ),
    )


def _own(key: str, size_mm: float, allowance: Allowance, u_rel: float | None) -> InputQuantity:
    if u_rel is not None:
        return exact(
            size_mm, key=key, unit="mm/px", component="scale", source="stored spacing, as stored"
        )
    half = OWN_PART.value * allowance.value
    return rectangular(
        size_mm,
        size_mm * half,
        key=key,
        unit="mm/px",
        component="scale",
        source=(
            f"stored spacing, the loop's own part ± {100 * half:g} %: {OWN_PART.value:g} of "
            f"{100 * allowance.value:g} % ({allowance.meaning}, {allowance.source})"
        ),
    )
