"""How large a reference object appears: its size in pixels with the scatter of its edges."""

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from annot.calibration.allowances import (
    BALL_MODEL_REL,
    FILLING_REL,
    RELATION_REL,
    SHAFT_MODEL_REL,
    Allowance,
)
from annot.calibration.ball_fit import fit_ball
from annot.calibration.grid_in_frame import grid_in_frames
from annot.calibration.intensity import (
    Frames,
    Intensities,
    StoredPixels,
    intensities,
    upright_frames,
)
from annot.calibration.mean_of_frames import mean_of_frames
from annot.calibration.request import SPACED, ObjectReading, ObjectRequest
from annot.calibration.row_in_frame import row_in_frames
from annot.calibration.scale import NoScale
from annot.calibration.seen_size import SeenSize
from annot.calibration.segment_by_hand import segment_by_hand
from annot.calibration.shaft_fit import LARGEST_U_REL, ShaftFit, fit_shaft
from annot.calibration.shaft_location import Reading
from annot.geometry import PixelPoint
from annot.uncertainty import InputQuantity, MeasurementResult, propagate, rectangular

LEAST_REL = 1e-4  # a relation that changes nothing still is not known exactly
LINEAR = StoredPixels()


def size_in_frames(
    frames: Frames,
    request: ObjectRequest,
    *,
    key: str,
    full_scale: float | None,
    aspect: float,
    stored: StoredPixels = LINEAR,
) -> SeenSize | NoScale:
    """Measure the object of a request in the frames of its readings.

    Parameters
    ----------
    frames : mapping of frame index to array (rows, columns)
        Stored pixels; unused for a segment.
    key : str
        Prefix of the input keys.
    full_scale : float or None
        Largest value a pixel can store.
    aspect : float
        Width of a pixel over its height.
    stored : StoredPixels
        How stored values relate to the beam's intensity, and what the file's shutter hides.

    Returns
    -------
    SeenSize, or NoScale with the reason.
    """
    if request.kind == "segment":
        return segment_by_hand(request, key=key, aspect=aspect)
    if request.kind in SPACED:
        upright = upright_frames(frames, stored, full_scale=full_scale)
        return _spaced(upright, request, key=key, aspect=aspect)
    if abs(aspect - 1) > 0.002:
        return NoScale(
            reason=(
                f"pixels are {aspect:.4g} times as wide as high, and a {request.kind} is fitted on "
                "square pixels only; use a segment, the header or a given scale"
            )
        )
    fitted = _catheter if request.kind == "catheter" else _sphere
    light = intensities(frames, stored, full_scale=full_scale)
    found = [
        fitted(Look(frames=one, full_scale=top, hidden=stored.hidden), request, key=key)
        for one, top in zip(light.readings, light.full_scale, strict=True)
    ]
    first = found[0]
    return first if isinstance(first, NoScale) else over_readings(first, found[1:], light, key)


def _spaced(
    frames: Frames, request: ObjectRequest, *, key: str, aspect: float
) -> SeenSize | NoScale:
    if request.kind == "grid":
        return grid_in_frames(frames, request, key=key)
    return row_in_frames(frames, request, key=key, aspect=aspect)


@dataclass(frozen=True, slots=True, kw_only=True)
class Look:
    """Frames proportional to intensity, the largest value they can have, and what is hidden."""

    frames: Frames
    full_scale: float | None
    hidden: NDArray[np.bool_] | None


def over_readings(
    first: SeenSize, others: Sequence[SeenSize | NoScale], light: Intensities, key: str
) -> SeenSize:
    """Let the size differ by as much as it does where stored values are read in another way."""
    if not others:
        return first
    apart = [
        abs(one.size.value / first.size.value - 1) for one in others if isinstance(one, SeenSize)
    ]
    complete = len(apart) == len(others)
    half_width = max([*apart, LEAST_REL] if complete else [*apart, RELATION_REL.value])
    relation = rectangular(
        1.0,
        half_width,
        key=f"{key}:relation",
        unit="1",
        component="scale",
        source=f"relation of stored values to intensity: ±{100 * half_width:.2g} %",
    )
    size = propagate(lambda seen, factor: seen * factor, [first.size, relation], unit="px")
    return replace(first, size=size, notes=(*first.notes, light.note))


def _catheter(look: Look, request: ObjectRequest, *, key: str) -> SeenSize | NoScale:
    fit = fit_shaft(
        _readings(look, request),
        filling=request.filling,
        lumen_ratio=_known_lumen_ratio(request),
        full_scale=look.full_scale,
    )
    if isinstance(fit, NoScale):
        return fit
    outer = request.surface == "outer"
    value, u = (fit.outer_px, fit.u_outer_px) if outer else (fit.inner_px, fit.u_inner_px)
    fault = _loose(request.surface, u / value)
    if fault:
        return NoScale(reason=fault)
    wall = fit.u_wall_px if outer else fit.u_inner_wall_px
    seen = InputQuantity(
        key=f"{key}:seen",
        value=value,
        u=math.sqrt(u**2 - wall**2),
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
    size = _with_unstated(seen, wall / value, key, request)
    return SeenSize(
        size=size,
        sections_used=fit.sections_used,
        sections_rejected=fit.sections_rejected,
        outline=_edges(fit.centreline, fit.outer_px),
        notes=_notes(request, fit),
        details={} if fit.half_maximum_px is None else {"half_depth_px": fit.half_maximum_px},
    )


def _loose(surface: str, u_rel: float) -> str:
    if u_rel <= LARGEST_U_REL:
        return ""
    return (
        f"the {surface} diameter is uncertain by {100 * u_rel:.0f} %: state filling and other "
        "diameter, or give the size of the other surface"
    )


def _with_unstated(
    seen: InputQuantity, wall_rel: float, key: str, request: ObjectRequest
) -> MeasurementResult:
    """Let a fitted tube be wrong by what nobody stated, by its model, and by filling and material.

    Each is an input of its own, so that a person sees in the budget what is worth stating.
    """
    half_width = math.sqrt(3.0) * wall_rel
    size: InputQuantity | MeasurementResult = seen
    if half_width > LEAST_REL:
        unstated = "its wall" if request.filling != "unknown" else "its wall or filling"
        explained = Allowance(
            value=half_width,
            unit="1",
            meaning=f"relative difference between tubes that explain the picture: {unstated}",
            source="fits of every wall and filling left open, each by how well it explains it",
        )
        size = _with_factor(size, f"{key}:wall", explained)
    size = _with_factor(size, f"{key}:model", SHAFT_MODEL_REL)
    return _with_factor(size, f"{key}:filling", _filling_effect(request))


def _filling_effect(request: ObjectRequest) -> Allowance:
    """Return what filling and material may change in a shaft's shadow, as stated or by default."""
    if request.filling_rel is None:
        return FILLING_REL
    return replace(FILLING_REL, value=request.filling_rel, source="as stated")


def _notes(request: ObjectRequest, fit: ShaftFit) -> tuple[str, ...]:
    """Say what the size rests on that nobody stated."""
    notes = []
    if request.other_mm is None:
        notes.append(
            "the catheter's other diameter is not given: its wall is fitted from the picture, "
            "which widens the interval by several percent"
        )
    if request.filling == "unknown":
        notes.append(
            f"filling not stated: empty and contrast weighed by the picture ({100 * fit.filled:.0f}"
            " % contrast)"
        )
    effect = _filling_effect(request)
    notes.append(
        "published studies contradict each other on what filling and material change in a shadow's "
        f"width: nothing is corrected, and ±{100 * effect.value:g} % is in the interval "
        f"({'as stated' if request.filling_rel is not None else 'state filling_rel to widen it'})"
    )
    return tuple(notes)


def _readings(look: Look, request: ObjectRequest) -> list[Reading]:
    return [
        Reading(frame=look.frames[one.frame], trace=one.points, hidden=look.hidden)
        for one in request.readings
    ]


def _known_lumen_ratio(request: ObjectRequest) -> tuple[float, float] | None:
    """Return inner over outer diameter with what both tolerances leave open."""
    if request.other_mm is None:
        return None
    size = request.size.quantity()
    pair = (request.other_mm, size.value)
    ratio = min(pair) / max(pair)
    relative = math.hypot(size.u / size.value, size.u / request.other_mm)
    return ratio, max(ratio * relative, 0.005)


def _sphere(look: Look, request: ObjectRequest, *, key: str) -> SeenSize | NoScale:
    sizes, outline = [], None
    for index, reading in enumerate(request.readings):
        fit = fit_ball(
            look.frames[reading.frame],
            reading.points[0],
            reading.radius_px or 0.0,
            full_scale=look.full_scale,
            hidden=look.hidden,
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
        size=_with_factor(mean_of_frames(sizes, key=f"{key}:seen"), f"{key}:model", BALL_MODEL_REL),
        sections_used=len(sizes),
        sections_rejected=0,
        outline=(outline or (),),
    )


def _with_factor(
    seen: InputQuantity | MeasurementResult, key: str, allowance: Allowance
) -> MeasurementResult:
    """Let a size be wrong by a relative allowance."""
    factor = rectangular(
        1.0,
        allowance.value,
        key=key,
        unit="1",
        component="scale",
        source=f"{allowance.meaning} ({allowance.source})",
    )
    return propagate(lambda size, by: size * by, [seen, factor], unit="px")


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
