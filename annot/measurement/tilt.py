"""How an unknown tilt shows: by modality and measurand, each with its sign."""

from dataclasses import dataclass

from annot.measurement.caliper import Caliper
from annot.uncertainty import InputQuantity, cosine_of_unknown_tilt, secant_of_unknown_tilt
from annot.vocabulary.measurands import Tilt


@dataclass(frozen=True, slots=True, kw_only=True)
class TiltRule:
    """The factor from seen to true, which way a tilt shows, and what a reader must know of it."""

    seen: Tilt
    factor: InputQuantity | None = None
    warnings: tuple[str, ...] = ()


def tilt_rule(caliper: Caliper, modality: str) -> TiltRule:
    """Return how tilt acts on a caliper.

    A segment lying along the tilted direction is seen short in a projection (true = seen / cos φ);
    a silhouette's width across a tube is unchanged by a tilt along the tube; an ultrasound plane
    oblique to the neck sees a width long (true = seen · cos φ), and one that holds only part of a
    segment sees it short, as a projection does.
    """
    measurand = caliper.measurand
    in_plane = modality == "US"
    seen = measurand.tilt_in_plane if in_plane else measurand.tilt_in_projection
    if seen == "none":
        stated = caliper.tilt_deg is not None and caliper.tilt_deg > 0
        unused = "the stated tilt has no effect on this length by the rules used here"
        return TiltRule(seen=seen, warnings=(unused,) if stated else ())
    if not caliper.tilt_deg:
        way = "short" if seen == "seen_short" else "long"
        stated_zero = caliper.tilt_deg == 0
        text = f"tilt not stated and not in the interval: an oblique view reads {way}"
        return TiltRule(seen=seen, warnings=() if stated_zero else (text,))
    factor_of = secant_of_unknown_tilt if seen == "seen_short" else cosine_of_unknown_tilt
    factor = factor_of(
        caliper.tilt_deg,
        key=f"{caliper.key}:tilt",
        source=f"unknown tilt within ±{caliper.tilt_deg:g}°",
    )
    return TiltRule(seen=seen, factor=factor)
