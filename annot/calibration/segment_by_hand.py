"""A known length between two ends placed by hand, once or several times."""

import math

from annot.calibration.allowances import HAND_END_PX
from annot.calibration.request import ObjectReading, ObjectRequest
from annot.calibration.scale import NoScale
from annot.calibration.seen_size import SeenSize
from annot.calibration.spacing_tilt import untilted
from annot.geometry import PixelPoint, length_px
from annot.uncertainty import MeasurementResult, from_repeats, propagate, stated

LEAST_PX = 5.0
LEAST_REPEATS = 3  # two show a spread with one degree of freedom, which says next to nothing


def segment_by_hand(request: ObjectRequest, *, key: str, aspect: float) -> SeenSize | NoScale:
    """Return the length in pixels, averaged over all readings.

    Without a stated `u_end_px` three or more readings show the hand's own scatter (Type A, JCGM
    100:2008 4.2); with fewer, or with readings that are all equally long, the default stands. A
    trace that comes back to the last digit, on another frame say, was placed once: it counts once,
    or copies would shrink the uncertainty.

    Parameters
    ----------
    key : str
        Prefix of the input keys.
    aspect : float
        Width of a pixel over its height.
    """
    drawn = list({reading.points: reading for reading in reversed(request.readings)}.values())[::-1]
    lengths = [
        length_px([PixelPoint(point.row, point.column * aspect) for point in reading.points])
        for reading in drawn
    ]
    if min(lengths) < LEAST_PX:
        return NoScale(
            reason=f"the known length is drawn {min(lengths):.1f} px long; at least 5 px are needed"
        )
    repeated = len(lengths) >= LEAST_REPEATS and request.u_end_px is None
    notes = _copy_notes(len(request.readings) - len(drawn))
    if repeated and max(lengths) > min(lengths):
        size = _by_scatter(lengths, key=key)
        notes += (
            "the repeats show the hand's scatter, not whether the ends are where they were taken "
            "to be",
        )
    else:
        size = _by_statement(lengths, drawn, request.u_end_px or HAND_END_PX.value, key=key)
        if repeated:
            notes += (
                "all readings of the known length are equally long, so they show no scatter: "
                f"u = {HAND_END_PX.value:g} px for each end assumed",
            )
    return SeenSize(
        size=untilted(size, request.placing.tilt_deg or 0.0, key=key, name="known length"),
        sections_used=len(lengths),
        sections_rejected=0,
        outline=(request.readings[0].points,),
        notes=notes,
        details={"lengths_px": lengths},
    )


def _copy_notes(copies: int) -> tuple[str, ...]:
    if not copies:
        return ()
    return (
        f"{copies} reading(s) of the known length copy another to the last digit and do not count: "
        "place the ends anew for each repeat",
    )


def _by_scatter(lengths: list[float], *, key: str) -> MeasurementResult:
    mean = from_repeats(
        lengths,
        key=f"{key}:seen",
        unit="px",
        component="scale",
        source=f"mean of {len(lengths)} readings by hand, from their own scatter",
    )
    return propagate(lambda value: value, [mean], unit="px")


def _by_statement(
    lengths: list[float], drawn: list[ObjectReading], u_end: float, *, key: str
) -> MeasurementResult:
    sizes = [
        stated(
            length,
            u_end * math.sqrt(2),
            key=f"{key}:seen{index}",
            unit="px",
            component="scale",
            source=f"two ends by hand in frame {reading.frame}, u = {u_end:g} px each",
        )
        for index, (length, reading) in enumerate(zip(lengths, drawn, strict=True))
    ]
    return propagate(lambda *values: sum(values) / len(values), sizes, unit="px")
