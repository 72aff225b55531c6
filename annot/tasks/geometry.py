"""Two X-ray loops of one patient: landmarks in space, true lengths, heights, the neck's axis."""

import itertools
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from annot.errors import InputError
from annot.geometry import PixelPoint
from annot.geometry.projection import (
    Projection,
    nearest_crossing,
    ray_in_other_view,
    silhouette_direction_deg,
    square_views,
)
from annot.loops import Loop, refuse_outside
from annot.measurement.estimate import StatedValue
from annot.measurement.two_views import (
    Landmark,
    SpaceLandmarks,
    angle_to_view,
    height_above_isocentre,
    landmarks_in_space,
    length_between,
)
from annot.measurement.view_geometry import projection_of, refuse_moved_table
from annot.reads import Read
from annot.uncertainty import MeasurementResult, estimate

__all__ = [
    "GeometryAnswer",
    "MarkedView",
    "StatedValue",
    "geometry_of",
    "marked_by_read",
    "write_geometry_picture",
]

SQUARE_STEP_DEG = 5.0


@dataclass(frozen=True, slots=True, kw_only=True)
class MarkedView:
    """One loop's frame with the landmarks marked on it."""

    loop: Loop
    frame: int
    points: Mapping[str, PixelPoint]


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class GeometryAnswer:
    """What two views give together; see `facts` for its parts."""

    marked: tuple[MarkedView, MarkedView]
    space: SpaceLandmarks
    misses_mm: tuple[float, ...]
    neck: tuple[str, str] | None
    square: tuple[tuple[float, float], ...]
    warnings: tuple[str, ...] = ()

    @property
    def lengths(self) -> list[tuple[str, str, MeasurementResult]]:
        """Return the length between every two landmarks that follow one another."""
        names = [one.name for one in self.space.landmarks]
        return [
            (first, second, length_between(self.space, first, second))
            for first, second in itertools.pairwise(names)
        ]

    def facts(self) -> dict[str, object]:
        """Return it for machines."""
        return {
            "views": [self._view_facts(index) for index in (0, 1)],
            "angle_between_views_deg": self.space.angle_deg,
            "p": self.space.p,
            "shift_mm": [estimate_of(one).as_dict() for one in self.space.shift],
            "landmarks": [self._landmark_facts(index) for index in range(len(self.misses_mm))],
            "lengths": [
                {
                    "from": first,
                    "to": second,
                    **estimate_of(length).as_dict(),
                    "shares": dict(length.shares()),
                }
                for first, second, length in self.lengths
            ],
            "neck": self._neck_facts(),
            "warnings": list(self.warnings),
        }

    def _view_facts(self, index: int) -> dict[str, object]:
        one, view = self.marked[index], self.space.views[index]
        return {
            "file": one.loop.header.path.name,
            "frame": one.frame,
            "primary_deg": view.primary_deg,
            "secondary_deg": view.secondary_deg,
            "source_to_detector_mm": view.sid_mm,
            "source_to_patient_mm": view.sod_mm,
        }

    def _landmark_facts(self, index: int) -> dict[str, object]:
        one = self.space.landmarks[index]
        heights = [height_above_isocentre(self.space, one.name, view) for view in (0, 1)]
        return {
            "name": one.name,
            "left_mm": estimate_of(self.space.places[index][0]).as_dict(),
            "back_mm": estimate_of(self.space.places[index][1]).as_dict(),
            "head_mm": estimate_of(self.space.places[index][2]).as_dict(),
            "miss_mm": self.misses_mm[index],
            "height_mm": [estimate_of(height).as_dict() for height in heights],
        }

    def _neck_facts(self) -> dict[str, object] | None:
        if self.neck is None:
            return None
        angles = [angle_to_view(self.space, *self.neck, view) for view in (0, 1)]
        return {
            "from": self.neck[0],
            "to": self.neck[1],
            "angle_to_view": [estimate_of(angle).as_dict() for angle in angles],
            "silhouette_deg": [self.silhouette_deg(view) for view in (0, 1)],
            "square_views": [
                {"primary_deg": primary, "secondary_deg": secondary}
                for primary, secondary in self.square
            ],
        }

    def silhouette_deg(self, view: int) -> float | None:
        """Return the direction around the neck in which a view shows its width, or None."""
        if self.neck is None:
            return None
        places = {
            one.name: place
            for one, place in zip(self.space.landmarks, self.space.fit.places_mm, strict=True)
        }
        axis = places[self.neck[1]] - places[self.neck[0]]
        try:
            return silhouette_direction_deg(axis, self.space.views[view].towards_detector)
        except ValueError:
            return None


def marked_by_read(read: Read, loop: Loop, *, file: str) -> MarkedView:
    """Return the landmarks that a read places on a loop; an axis gives two, numbered.

    Raises
    ------
    InputError
        If the read has no such loop, or its landmarks are not all on one frame.
    """
    part = next((one for one in read.loops if Path(one.file).name == file), None)
    if part is None or not part.landmarks:
        raise InputError(
            f"The read places no landmarks on {file}: add them to its loop, or give --points."
        )
    frames = sorted({one.frame for one in part.landmarks})
    if len(frames) > 1:
        raise InputError(
            f"The read places landmarks of {file} on frames {', '.join(map(str, frames))}; two "
            "views need one moment each: keep the landmarks of one frame."
        )
    points = {
        one.name if len(one.points) == 1 else f"{one.name}_{number}": point
        for one in part.landmarks
        for number, point in enumerate(one.points, start=1)
    }
    return MarkedView(loop=loop, frame=frames[0], points=points)


def estimate_of(result: MeasurementResult) -> StatedValue:
    """Return a result as an estimate, by drawing where first order would mislead."""
    found = estimate(result)
    return StatedValue(
        value=found.value,
        u=found.u,
        low=found.interval.low,
        high=found.interval.high,
        unit=result.unit,
    )


def geometry_of(
    first: MarkedView,
    second: MarkedView,
    *,
    u_px: float,
    neck: tuple[str, str] | None = None,
    reach_deg: tuple[float, float] = (60.0, 40.0),
) -> GeometryAnswer:
    """Bring landmarks of two views into space.

    Parameters
    ----------
    first, second : MarkedView
        The same landmarks, at the same moment of the heart's cycle.
    u_px : float
        Standard uncertainty of placing a landmark, each coordinate.
    neck : pair of str, optional
        Landmarks between which the neck's axis runs; the first two if left out.
    reach_deg : pair of float
        Steepest primary and secondary angle that the stand reaches.

    Raises
    ------
    AnnotError
        If a view's geometry is not known, the loops are of different patients' studies, both look
        along one line, or a landmark is missing in one of them or marked twice.
    """
    names = _common_names(first, second)
    views = (_projection(first), _projection(second))
    _refuse_other_study(first, second)
    about_table = (
        ()
        if first.loop is second.loop
        else refuse_moved_table(
            (first.loop.header, first.frame), (second.loop.header, second.frame)
        )
    )
    landmarks = [
        Landmark(name=name, points_px=(first.points[name], second.points[name]), u_px=u_px)
        for name in names
    ]
    space = landmarks_in_space(views, landmarks, distances_shared=not _biplane(first, second))
    points = tuple(np.array([list(one.points[name]) for name in names]) for one in (first, second))
    misses = nearest_crossing(*views, (points[0], points[1]))[1]
    axis = neck or ((names[0], names[1]) if len(names) > 1 else None)
    for name in axis or ():
        if name not in names:
            raise InputError(f"The neck's axis names {name}, but no landmark is called so.")
    return GeometryAnswer(
        marked=(first, second),
        space=space,
        misses_mm=tuple(float(abs(miss)) for miss in misses),
        neck=axis,
        square=_square(space, axis, reach_deg),
        warnings=(*space.warnings, *about_table),
    )


def write_geometry_picture(answer: GeometryAnswer, path: Path) -> None:
    """Draw both frames with the landmarks, and in the second the ray of each from the first."""
    from annot.exports import PNG, write_whole
    from annot.exports.figures import COLOURS, REFERENCE, Line, Panel, png_of
    from annot.vocabulary import CAUTION

    colours = [*COLOURS.values(), REFERENCE]
    panels = []
    for index, one in enumerate(answer.marked):
        lines = []
        for number, name in enumerate(landmark.name for landmark in answer.space.landmarks):
            colour = colours[number % len(colours)]
            if index == 1:
                lines.append(Line(points=_ray(answer, name), label="", colour=colour, ends=False))
            place = one.points[name]
            lines.append(Line(points=(place, place), label=name, colour=colour))
        view = answer.space.views[index]
        title = (
            f"{one.loop.header.path.name}, frame {one.frame}, "
            f"{view.primary_deg:+.0f}° / {view.secondary_deg:+.0f}°"
        )
        panels.append(Panel(frame=one.loop.frame(one.frame), title=title, lines=tuple(lines)))
    words = "Lines in the second view: where each landmark of the first may lie. "
    write_whole(path, png_of(panels, caption=words + CAUTION), replaces=PNG)


def _ray(answer: GeometryAnswer, name: str) -> tuple[PixelPoint, ...]:
    """Return the epipolar line over ±60 mm around the landmark's height, inside the picture."""
    views = answer.space.views
    index = [one.name for one in answer.space.landmarks].index(name)
    middle = float(views[0].heights(answer.space.fit.places_mm[index])[0])
    heights = np.linspace(middle - 60, middle + 60, 61).tolist()
    point = list(answer.marked[0].points[name])
    seen = [PixelPoint(*pair) for pair in ray_in_other_view(*views, point, heights)]
    header = answer.marked[1].loop.header
    return tuple(place for place in seen if place.is_inside(header.rows, header.columns))


def _common_names(first: MarkedView, second: MarkedView) -> list[str]:
    alone = set(first.points) ^ set(second.points)
    if alone:
        raise InputError(
            f"{', '.join(sorted(alone))} is marked in one view only: mark it in both or in neither."
        )
    if not first.points:
        raise InputError("No landmark is marked: mark at least one point in both views.")
    places: dict[tuple[PixelPoint, PixelPoint], str] = {}
    for name, point in first.points.items():
        other = places.setdefault((point, second.points[name]), name)
        if other != name:
            raise InputError(
                f"{other} and {name} are marked at one place in both views, so there is no length "
                "between them: mark them apart or leave one out."
            )
    return list(first.points)


def _projection(one: MarkedView) -> Projection:
    header = one.loop.header
    refuse_outside(header, one.frame, tuple(one.points.values()), what="a landmark")
    return projection_of(header, one.frame)


def _refuse_other_study(first: MarkedView, second: MarkedView) -> None:
    headers = first.loop.header, second.loop.header
    studies = {one.study_instance_uid for one in headers if one.study_instance_uid}
    if len(studies) > 1:
        raise InputError(
            f"{headers[0].path.name} and {headers[1].path.name} belong to different studies, so "
            "the table and the patient may lie elsewhere: take two loops of one study."
        )


def _biplane(first: MarkedView, second: MarkedView) -> bool:
    planes = {one.loop.header.xray.plane for one in (first, second) if one.loop.header.xray}
    return len(planes) == 2


def _square(
    space: SpaceLandmarks, neck: Sequence[str] | None, reach_deg: tuple[float, float]
) -> tuple[tuple[float, float], ...]:
    if neck is None:
        return ()
    names = [one.name for one in space.landmarks]
    ends = [space.fit.places_mm[names.index(name)] for name in neck]
    primaries = np.arange(-reach_deg[0], reach_deg[0] + 1, SQUARE_STEP_DEG)
    return tuple(square_views(ends[1] - ends[0], primaries, steepest_deg=reach_deg[1]))
