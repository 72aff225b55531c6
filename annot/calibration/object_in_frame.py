"""How large a reference object appears: its size in pixels with the scatter of its edges."""

import math
from collections.abc import Mapping

import numpy as np
from numpy.typing import NDArray

from annot.calibration.allowances import (
    BALL_MODEL_REL,
    SHAFT_MODEL_REL,
    Allowance,
)
from annot.calibration.ball_fit import fit_ball
from annot.calibration.grid_in_frame import grid_in_frames
from annot.calibration.request import SPACED, ObjectReading, ObjectRequest
from annot.calibration.row_in_frame import row_in_frames
from annot.calibration.scale import NoScale
from annot.calibration.seen_size import SeenSize
from annot.calibration.segment_by_hand import segment_by_hand
from annot.calibration.shaft_fit import ShaftFit, fit_shaft
from annot.calibration.shaft_sections import Reading
from annot.geometry import PixelPoint
from annot.uncertainty import InputQuantity, MeasurementResult, propagate, rectangular

WALL_DISAGREEING = 3.5  # standard uncertainties of the difference
PixelArray = NDArray[np.generic]
Frames = Mapping[int, PixelArray]


def size_in_frames(
    frames: Frames, request: ObjectRequest, *, key: str, full_scale: float | None, aspect: float
) -> SeenSize | NoScale:
    """Measure the object of a request in the frames of its readings.

    Parameters
    ----------
    frames : mapping of frame index to array (rows, columns)
        Pixels proportional to intensity for catheter and sphere, rising with it for marks at a
        spacing; unused for a segment.
    key : str
        Prefix of the input keys.
    full_scale : float or None
        Largest value a pixel can store.
    aspect : float
        Width of a pixel over its height.

    Returns
    -------
    SeenSize, or NoScale with the reason.
    """
    if request.kind == "segment":
        return segment_by_hand(request, key=key, aspect=aspect)
    if request.kind in SPACED:
        return _spaced(frames, request, key=key, aspect=aspect)
    if abs(aspect - 1) > 0.002:
        return NoScale(
            reason=(
                f"pixels are {aspect:.4g} times as wide as high, and a {request.kind} is fitted on "
                "square pixels only; use a segment, the header or a given scale"
            )
        )
    if request.kind == "catheter":
        return _catheter(frames, request, key=key, full_scale=full_scale)
    return _sphere(frames, request, key=key, full_scale=full_scale)


def _spaced(
    frames: Frames, request: ObjectRequest, *, key: str, aspect: float
) -> SeenSize | NoScale:
    if request.kind == "grid":
        return grid_in_frames(frames, request, key=key)
    return row_in_frames(frames, request, key=key, aspect=aspect)


def _catheter(
    frames: Frames, request: ObjectRequest, *, key: str, full_scale: float | None
) -> SeenSize | NoScale:
    fit = fit_shaft(
        _readings(frames, request),
        filling=request.filling,
        lumen_ratio=_known_lumen_ratio(request),
        full_scale=full_scale,
    )
    if isinstance(fit, NoScale):
        return fit
    fault = _fault_of_wall(frames, request, fit, full_scale=full_scale)
    if fault:
        return NoScale(reason=fault)
    outer = request.surface == "outer"
    seen = InputQuantity(
        key=f"{key}:seen",
        value=fit.outer_px if outer else fit.inner_px,
        u=fit.u_outer_px if outer else fit.u_inner_px,
        unit="px",
        dof=fit.dof,
        evaluation="A",
        distribution="t",
        component="scale",
        source=(
            f"{request.surface} diameter of a tube fitted to {fit.sections_used} sections of "
            f"{len(request.readings)} frame(s)"
        ),
    )
    notes: tuple[str, ...] = ()
    if request.other_mm is None:
        notes = (
            "the catheter's other diameter is not given: its wall is fitted from the picture, "
            "which widens the interval by several percent",
        )
    return SeenSize(
        size=_with_model(seen, key, SHAFT_MODEL_REL),
        sections_used=fit.sections_used,
        sections_rejected=fit.sections_rejected,
        outline=_edges(fit.centreline, fit.outer_px),
        notes=notes,
    )


def _fault_of_wall(
    frames: Frames, request: ObjectRequest, fit: ShaftFit, *, full_scale: float | None
) -> str:
    """Return why the two diameters given cannot be this shaft's, empty when they can.

    A wall that is stated wrongly bends the diameter with it, and confidently; so the shaft is
    fitted once more with the wall left open.
    """
    if request.other_mm is None:
        return ""
    free = fit_shaft(_readings(frames, request), filling=request.filling, full_scale=full_scale)
    if isinstance(free, NoScale):
        return ""
    apart = abs(free.outer_px - fit.outer_px)
    if apart <= WALL_DISAGREEING * math.hypot(free.u_outer_px, fit.u_outer_px):
        return ""
    return (
        f"the two diameters given make the shaft {fit.outer_px:.1f} px wide, while the picture "
        f"alone says {free.outer_px:.1f} px: check both diameters, or leave the other one out"
    )


def _readings(frames: Frames, request: ObjectRequest) -> list[Reading]:
    return [Reading(frame=frames[one.frame], trace=one.points) for one in request.readings]


def _known_lumen_ratio(request: ObjectRequest) -> tuple[float, float] | None:
    """Return inner over outer diameter with what both tolerances leave open."""
    if request.other_mm is None:
        return None
    size = request.size.quantity()
    pair = (request.other_mm, size.value)
    ratio = min(pair) / max(pair)
    relative = math.hypot(size.u / size.value, size.u / request.other_mm)
    return ratio, max(ratio * relative, 0.005)


def _sphere(
    frames: Frames, request: ObjectRequest, *, key: str, full_scale: float | None
) -> SeenSize | NoScale:
    sizes, outline = [], None
    for index, reading in enumerate(request.readings):
        fit = fit_ball(
            frames[reading.frame],
            reading.points[0],
            reading.radius_px or 0.0,
            full_scale=full_scale,
        )
        if isinstance(fit, NoScale):
            return fit
        outline = outline or _circle(fit.centre, fit.diameter_px / 2)
        sizes.append(
            InputQuantity(
                key=f"{key}:seen{index}",
                value=fit.diameter_px,
                u=fit.u_diameter_px,
                unit="px",
                dof=fit.dof,
                evaluation="A",
                distribution="t",
                component="scale",
                source=f"diameter of a ball fitted in frame {reading.frame}",
            )
        )
    return SeenSize(
        size=_with_model(_mean(sizes, unit="px"), key, BALL_MODEL_REL),
        sections_used=len(sizes),
        sections_rejected=0,
        outline=(outline or (),),
    )


def _mean(sizes: list[InputQuantity], *, unit: str) -> MeasurementResult:
    return propagate(lambda *values: sum(values) / len(values), sizes, unit=unit)


def _with_model(
    seen: InputQuantity | MeasurementResult, key: str, allowance: Allowance
) -> MeasurementResult:
    """Let the shadow model be wrong by its allowance."""
    model = rectangular(
        1.0,
        allowance.value,
        key=f"{key}:model",
        unit="1",
        component="scale",
        source=f"{allowance.meaning} ({allowance.source})",
    )
    return propagate(lambda size, factor: size * factor, [seen, model], unit="px")


def _edges(
    centreline: tuple[PixelPoint, ...], width_px: float
) -> tuple[tuple[PixelPoint, ...], ...]:
    """Return both edges of a shaft along its fitted centreline."""
    path = np.asarray(centreline)
    tangent = np.gradient(path, axis=0)
    tangent /= np.hypot(tangent[:, 0], tangent[:, 1])[:, None]
    normal = np.stack([-tangent[:, 1], tangent[:, 0]], axis=1) * width_px / 2
    return tuple(
        tuple(PixelPoint(float(row), float(column)) for row, column in path + sign * normal)
        for sign in (-1.0, 1.0)
    )


def _circle(centre: PixelPoint, radius_px: float) -> tuple[PixelPoint, ...]:
    angles = np.linspace(0, 2 * np.pi, 73)
    return tuple(
        PixelPoint(
            centre.row + radius_px * float(np.sin(angle)),
            centre.column + radius_px * float(np.cos(angle)),
        )
        for angle in angles
    )


__all__ = ["Frames", "ObjectReading", "SeenSize", "size_in_frames"]
