"""Two X-ray views of the same landmarks: places, lengths, heights and angles with budgets."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from annot.calibration.allowances import Allowance
from annot.errors import InputError
from annot.geometry import PixelPoint
from annot.geometry.projection import Projection, angle_between_deg
from annot.measurement.placement import END_PX
from annot.measurement.space_fit import Leeway, SpaceFit, fit_space
from annot.uncertainty import (
    BudgetLine,
    InputQuantity,
    MeasurementResult,
    propagate,
    rectangular,
    stated,
)

FloatArray = NDArray[np.float64]
CLOSEST_VIEWS_DEG = 20.0
# nearer than this the views' own angles, each known to a degree, leave the depth open
SAME_VIEW_DEG = 3.0
SQRT3 = float(np.sqrt(3))
SMALL_P = 0.05

ANGLE_DEG = Allowance(
    value=1.0,
    unit="deg",
    meaning="half-range of each stored positioner angle",
    source="common practice, no source",
)
DISTANCE_MM = Allowance(
    value=10.0,
    unit="mm",
    meaning="half-range of each stored distance from the source",
    source="common practice, no source",
)
SHIFT_MM = Allowance(
    value=2.0,
    unit="mm",
    meaning="standard uncertainty, along each axis, of the heart's place between the two views",
    source="common practice, no source",
)


@dataclass(frozen=True, slots=True, kw_only=True)
class Landmark:
    """One point of the patient, marked in both views.

    Attributes
    ----------
    name : str
    points_px : pair of PixelPoint
        In the first and in the second view.
    u_px : float
        Standard uncertainty of each coordinate.
    """

    name: str
    points_px: tuple[PixelPoint, PixelPoint]
    u_px: float = END_PX.value


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class SpaceLandmarks:
    """Landmarks in space.

    Attributes
    ----------
    views : pair of Projection
        As the headers say.
    places : tuple of three results per landmark
        Left, back and head in mm from the first view's isocentre, correlated through their lines.
    angle_deg : float
        Between the two central rays.
    p : float
        Probability of a misfit at least this large if the uncertainties are right.
    """

    landmarks: tuple[Landmark, ...]
    views: tuple[Projection, Projection]
    fit: SpaceFit
    places: tuple[tuple[MeasurementResult, MeasurementResult, MeasurementResult], ...]
    shift: tuple[MeasurementResult, ...]
    angle_deg: float
    p: float
    warnings: tuple[str, ...]

    def place_of(self, name: str) -> tuple[MeasurementResult, ...]:
        """Return the place of a landmark by its name."""
        return self.places[[one.name for one in self.landmarks].index(name)]


def landmarks_in_space(
    views: tuple[Projection, Projection],
    landmarks: Sequence[Landmark],
    *,
    u_shift_mm: float = SHIFT_MM.value,
    distances_shared: bool = True,
) -> SpaceLandmarks:
    """Place landmarks in space.

    Inputs of the budget: both coordinates of each landmark in each view, the two angles of each
    view, the distances from the source (one stand: shared by both views), and the shift between
    the views.

    Parameters
    ----------
    views : pair of Projection
    landmarks : sequence of Landmark, at least one
    u_shift_mm : float
        Standard uncertainty of the second view's isocentre along each axis.
    distances_shared : bool
        False for a biplane stand, whose two sides have distances of their own.

    Raises
    ------
    InputError
        If both views look along nearly one line.
    """
    angle = angle_between_deg(views[0].towards_detector, views[1].towards_detector)
    _refuse_one_line(angle)
    points = np.array([[list(point) for point in one.points_px] for one in landmarks], dtype=float)
    leeways = _leeways(distances_shared=distances_shared)
    fit = fit_space(
        views,
        points,
        np.array([one.u_px for one in landmarks]),
        u_shift_mm=u_shift_mm,
        leeways=leeways,
    )
    inputs = [
        *_point_inputs(landmarks),
        *_shift_inputs(u_shift_mm),
        *(_stand_input(views, one) for one in leeways),
    ]
    values = [*fit.places_mm.ravel(), *fit.shift_mm]
    results = [
        _followed(float(value), inputs, row)
        for value, row in zip(values, fit.gain[: len(values)], strict=True)
    ]
    p = _tail(fit.chi2, len(landmarks))
    return SpaceLandmarks(
        landmarks=tuple(landmarks),
        views=views,
        fit=fit,
        places=tuple(
            (results[3 * k], results[3 * k + 1], results[3 * k + 2]) for k in range(len(landmarks))
        ),
        shift=tuple(results[3 * len(landmarks) :]),
        angle_deg=angle,
        p=p,
        warnings=_warnings(angle, p),
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class _Linear:
    """A place that follows its inputs in proportion, so that what is made of it can be drawn."""

    value: float
    at: tuple[float, ...]
    slopes: tuple[float, ...]

    def __call__(self, *values: FloatArray) -> FloatArray:
        total = np.asarray(self.value)
        for slope, value, at in zip(self.slopes, values, self.at, strict=True):
            total = total + slope * (value - at)
        return total


def _followed(value: float, inputs: Sequence[InputQuantity], row: FloatArray) -> MeasurementResult:
    """Return a fitted figure with its budget: how it follows each input, as the fit's gain says."""
    slopes = tuple(float(slope) for slope in row)
    return MeasurementResult(
        value=value,
        unit="mm",
        lines=tuple(
            BudgetLine(input=one, sensitivity=slope)
            for one, slope in zip(inputs, slopes, strict=True)
        ),
        model=_Linear(value=value, at=tuple(one.value for one in inputs), slopes=slopes),
        arguments=tuple(inputs),
    )


def length_between(space: SpaceLandmarks, first: str, second: str) -> MeasurementResult:
    """Return the straight length between two landmarks, not foreshortened."""
    return propagate(_length, [*space.place_of(first), *space.place_of(second)], unit="mm")


def height_above_isocentre(space: SpaceLandmarks, name: str, view: int) -> MeasurementResult:
    """Return a landmark's height along one view's central ray, towards the source.

    In the second view it counts from that view's own isocentre.
    """
    up = -space.views[view].towards_detector
    origin = float(np.asarray(space.views[view].shift_mm) @ up)
    if view == 0:
        return propagate(
            lambda x, y, z: x * up[0] + y * up[1] + z * up[2] - origin,
            [*space.place_of(name)],
            unit="mm",
        )
    return propagate(
        lambda x, y, z, a, b, c: (x - a) * up[0] + (y - b) * up[1] + (z - c) * up[2] - origin,
        [*space.place_of(name), *space.shift],
        unit="mm",
    )


def angle_to_view(space: SpaceLandmarks, first: str, second: str, view: int) -> MeasurementResult:
    """Return the angle between a view's central ray and the axis from one landmark to another.

    90° sees the axis in full length; the length seen is the true one times its sine.
    """
    beam = space.views[view].towards_detector

    def angle(*place: FloatArray) -> FloatArray:
        step = [place[k + 3] - place[k] for k in range(3)]
        along = sum(part * float(way) for part, way in zip(step, beam, strict=True))
        length = np.sqrt(sum(part**2 for part in step))
        return np.asarray(np.rad2deg(np.arccos(np.clip(along / length, -1, 1))), dtype=float)

    return propagate(angle, [*space.place_of(first), *space.place_of(second)], unit="deg")


def _length(*place: FloatArray) -> FloatArray:
    return np.asarray(np.sqrt(sum((place[k + 3] - place[k]) ** 2 for k in range(3))), dtype=float)


def _point_inputs(landmarks: Sequence[Landmark]) -> list[InputQuantity]:
    return [
        stated(
            value,
            one.u_px,
            key=f"{one.name}:{view}:{axis}",
            unit="px",
            component="ends",
            source=f"placing {one.name} in the {view} view, u = {one.u_px:g} px",
        )
        for one in landmarks
        for view, point in zip(("first", "second"), one.points_px, strict=True)
        for axis, value in zip(("row", "column"), point, strict=True)
    ]


def _shift_inputs(u_shift_mm: float) -> list[InputQuantity]:
    return [
        stated(
            0.0,
            u_shift_mm,
            key=f"shift:{axis}",
            unit="mm",
            component="shift",
            source=f"{SHIFT_MM.meaning}, u = {u_shift_mm:g} mm",
        )
        for axis in ("left", "back", "head")
    ]


def _leeways(*, distances_shared: bool) -> list[Leeway]:
    angles = [
        Leeway(field=field, views=(view,), u=ANGLE_DEG.value / SQRT3)
        for field in ("primary_deg", "secondary_deg")
        for view in (0, 1)
    ]
    whose = ((0, 1),) if distances_shared else ((0,), (1,))
    distances = [
        Leeway(field=field, views=views, u=DISTANCE_MM.value / SQRT3)
        for field in ("sid_mm", "sod_mm")
        for views in whose
    ]
    return [*angles, *distances]


def _stand_input(views: tuple[Projection, Projection], one: Leeway) -> InputQuantity:
    allowance = DISTANCE_MM if one.field.endswith("mm") else ANGLE_DEG
    return rectangular(
        float(getattr(views[one.views[0]], one.field)),
        allowance.value,
        key=f"stand:{one.field}:{','.join(str(view) for view in one.views)}",
        unit=allowance.unit,
        component="angles" if allowance is ANGLE_DEG else "distances",
        source=f"{allowance.meaning} ({allowance.source})",
    )


def _refuse_one_line(angle_deg: float) -> None:
    apart = min(angle_deg, 180 - angle_deg)
    if apart < SAME_VIEW_DEG:
        raise InputError(
            f"The two views are only {apart:.1f}° apart and look along one line, so they do not "
            f"tell how deep a landmark lies: take views at least {CLOSEST_VIEWS_DEG:.0f}° apart."
        )


def _tail(chi2: float, dof: int) -> float:
    from scipy.special import chdtrc

    return float(chdtrc(dof, chi2))


def _warnings(angle_deg: float, p: float) -> tuple[str, ...]:
    warnings = []
    if min(angle_deg, 180 - angle_deg) < CLOSEST_VIEWS_DEG:
        warnings.append(
            f"the two views are only {min(angle_deg, 180 - angle_deg):.0f}° apart: depth along the "
            f"rays is poorly known; take views at least {CLOSEST_VIEWS_DEG:.0f}° apart"
        )
    if p < SMALL_P:
        warnings.append(
            f"the two views do not agree on the landmarks (p = {p:.2g}): check that both frames "
            "show the same moment, that each landmark is the same point, and that nothing moved"
        )
    return tuple(warnings)


__all__ = [
    "ANGLE_DEG",
    "CLOSEST_VIEWS_DEG",
    "DISTANCE_MM",
    "SHIFT_MM",
    "Landmark",
    "SpaceLandmarks",
    "angle_to_view",
    "height_above_isocentre",
    "landmarks_in_space",
    "length_between",
]
