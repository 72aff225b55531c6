"""From phantoms in a loop to checked values: deviation, squareness, scatter, linearity."""

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np

from annot.calibration.allowances import SOURCE_TO_ISOCENTRE_MM
from annot.errors import InputError
from annot.quality.judgement import CheckedValue, judged
from annot.quality.scale_map import ScaleMap, scale_map
from annot.quality.size_linearity import size_linearity
from annot.tasks.check.phantom_run import PhantomLoop, RunSettings, SeenReference
from annot.uncertainty import (
    MeasurementResult,
    Tolerance,
    exact,
    propagate,
    rectangular,
    stated,
)


@dataclass(frozen=True, slots=True, kw_only=True)
class XrayLimits:
    """Half-widths within which a room's values must lie; common practice, no source.

    Attributes
    ----------
    scale_percent : float
        Of the header's scale against an object.
    square_percent : float
        Of a pixel's width over its height against the header's.
    even_percent : float
        Of the local scale against the mean.
    offset_mm : float
        Of what every size reads too large, whatever it is.
    """

    scale_percent: float = 3.0
    square_percent: float = 1.0
    even_percent: float = 2.0
    offset_mm: float = 0.2


def values_of(
    found: PhantomLoop, settings: RunSettings, limits: XrayLimits
) -> tuple[CheckedValue, ...]:
    """Return everything that a loop's phantoms tell, judged by the limits."""
    values: list[CheckedValue] = []
    for one in found.seen:
        if one.at_object is None:
            continue
        if found.header_mm is not None:
            values.append(_deviation(one, found, settings, limits))
        values += _scatter(one)
        if one.reference.kind == "grid":
            values += _of_grid(one, found, limits)
    values += _linearity(found, limits)
    return tuple(values)


def _deviation(
    one: SeenReference, found: PhantomLoop, settings: RunSettings, limits: XrayLimits
) -> CheckedValue:
    """Return by how many percent the header's millimetres are too large.

    What the room indicates is the header's spacing times the size in pixels; the spacing itself is
    taken as stored, for it is what is checked. The header's is true at the isocentre, the phantom
    lies within ± depth of it.
    """
    assert one.at_object is not None
    assert found.header_mm is not None
    view = found.loop.header.xray
    distance = (view.source_to_patient_mm if view else None) or SOURCE_TO_ISOCENTRE_MM.value
    stored = exact(found.header_mm[0], key="header", unit="mm/px", source="the header's, as stored")
    depth = rectangular(
        0.0,
        settings.depth_mm,
        key=f"check-depth:{found.loop.header.sop_instance_uid}",
        unit="mm",
        component="depth",
        source=f"phantom within ±{settings.depth_mm:g} mm of the isocentre",
    )
    result = propagate(
        lambda header, true, off: 100 * (header * (1 - off / distance) / true - 1),
        [stored, one.at_object, depth],
        unit="%",
    )
    size = one.made.seen.size.value if one.made and one.made.seen else math.nan
    scale = one.at_object.value
    readings = tuple(
        100 * (found.header_mm[0] * (each / size) / scale - 1) for each in one.sizes_px
    )
    return judged(
        result,
        quantity="scale_deviation",
        target=one.reference.name,
        limits=Tolerance(low=-limits.scale_percent, high=limits.scale_percent),
        readings=readings,
        note=found.header_basis,
    )


def _scatter(one: SeenReference) -> Iterator[CheckedValue]:
    """Yield the scatter within a frame, and between frames where there are three or more."""
    seen = one.made.seen if one.made else None
    if seen is None:
        return
    own = [line.input.u for line in seen.size.lines if line.input.evaluation == "A"]
    within = 100 * math.hypot(*own) / seen.size.value if own else 0.0
    yield judged(
        _known(within, within / math.sqrt(2 * max(seen.sections_used - 1, 1)), "within"),
        quantity="scatter_within_frame",
        target=one.reference.name,
    )
    if len(one.sizes_px) < 3:
        return
    sizes = np.array(one.sizes_px)
    spread = 100 * float(np.std(sizes, ddof=1) / np.mean(sizes))
    yield judged(
        _known(spread, spread / math.sqrt(2 * (len(sizes) - 1)), "between"),
        quantity="scatter_between_frames",
        target=one.reference.name,
        note=f"{len(sizes)} frames",
    )


def _of_grid(one: SeenReference, found: PhantomLoop, limits: XrayLimits) -> Iterator[CheckedValue]:
    details = dict(one.made.seen.details) if one.made and one.made.seen else {}
    name = one.reference.name
    ratio, u = float(str(details["squareness"])), float(str(details["u_squareness"]))
    stored = found.header_mm[1] / found.header_mm[0] if found.header_mm else 1.0
    yield judged(
        _known(100 * (ratio / stored - 1), 100 * u / stored, "square"),
        quantity="squareness",
        target=name,
        limits=Tolerance(low=-limits.square_percent, high=limits.square_percent),
        note="width of a pixel over its height, against the header's",
    )
    even = map_of(one)
    if even is not None:
        yield judged(
            _known(even.largest, even.u_largest, "even"),
            quantity="unevenness",
            target=name,
            limits=Tolerance(high=limits.even_percent),
            note="largest deviation of the local scale from the grid's mean",
        )


def map_of(one: SeenReference) -> ScaleMap | None:
    """Return the map of a grid's local scale; None where the grid is too small for one."""
    details = dict(one.made.seen.details) if one.made and one.made.seen else {}
    nodes = np.array(details.get("residuals_px", []), dtype=float)
    if not len(nodes):
        return None
    pitch = (float(str(details["pitch_row_px"])), float(str(details["pitch_column_px"])))
    try:
        return scale_map(nodes[:, :2], nodes[:, 2:4], pitch)
    except InputError:
        return None


def _linearity(found: PhantomLoop, limits: XrayLimits) -> Iterator[CheckedValue]:
    """Yield offset and slope where balls of three sizes or more are seen."""
    balls = [one for one in found.seen if one.reference.kind == "sphere" and one.at_object]
    sizes = [one.reference.size_mm for one in balls]
    if len(balls) < 3 or found.header_mm is None:
        return
    indicated, u = [], []
    for one in balls:
        assert one.made is not None
        assert one.made.seen is not None
        seen = one.made.seen.size
        indicated.append(found.header_mm[0] * seen.value)
        u.append(math.hypot(found.header_mm[0] * seen.u, one.reference.known().quantity().u))
    try:
        line = size_linearity(sizes, indicated, u, key="linearity")
    except InputError:
        return
    yield judged(
        line.offset,
        quantity="size_offset",
        limits=Tolerance(low=-limits.offset_mm, high=limits.offset_mm),
        note=f"{len(balls)} balls, largest residual {line.largest_residual_mm:.3f} mm",
    )
    yield judged(
        line.slope,
        quantity="size_slope",
        note="deviation of the slope from 1; the scale's own error included",
    )


def dependence(
    values: Sequence[tuple[str, CheckedValue]], *, on: str = "geometry"
) -> Iterator[CheckedValue]:
    """Yield by how much the scale's deviation differs between geometries, or doses, per object.

    Parameters
    ----------
    values
        Geometry or exposure in words, and a scale deviation seen in it.
    on
        Which of the two.

    Where one geometry was seen several times its mean counts, so that repeats are no difference.
    What phantoms share (their certificate, their place) cancels, so only the scatter between frames
    counts where there are three or more.
    """
    targets = dict.fromkeys(value.target for _, value in values)
    for target in targets:
        seen: dict[str, list[CheckedValue]] = {}
        for where, value in values:
            if value.target == target:
                seen.setdefault(where, []).append(value)
        if len(seen) < 2:
            continue
        means = {where: float(np.mean([one.value for one in own])) for where, own in seen.items()}
        low, high = min(means, key=means.__getitem__), max(means, key=means.__getitem__)
        u = math.hypot(_mean_u(seen[low]), _mean_u(seen[high]))
        yield judged(
            _known(means[high] - means[low], u, on),
            quantity=f"{on}_dependence",
            target=target,
            note=f"from {low} to {high}",
        )


def _mean_u(values: Sequence[CheckedValue]) -> float:
    """Return the uncertainty of a mean from the frames' scatter, where that is known."""
    own = [
        float(np.std(each.readings, ddof=1)) / math.sqrt(len(each.readings))
        if len(each.readings) > 2
        else each.u
        for each in values
    ]
    return math.hypot(*own) / len(own)


def _known(value: float, u: float, name: str) -> MeasurementResult:
    one = stated(value, max(u, 1e-9), key=f"check:{name}", unit="%", source="as seen")
    return propagate(lambda number: number, [one], unit="%")
