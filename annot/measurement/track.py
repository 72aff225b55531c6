"""A caliper carried through a loop by what its ends' surroundings look like."""

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import Protocol

import numpy as np
from numpy.typing import NDArray

from annot.errors import InputError
from annot.geometry import PixelPoint
from annot.measurement.patch_motion import Patch, find_patch, patch_at, smoothed

FloatArray = NDArray[np.float64]
Place = tuple[float, float]

BLUR_PX = 3.0
RADIUS_PX = 12
STEP_PRIOR_PX = 3.0
LEAST_CORRELATION = 0.6
LARGEST_RETURN_PX = 3.0
ANCHOR_PX = 0.7
ANCHOR_CORRELATION = 0.95


class Frames(Protocol):
    """Anything that gives one frame at a time: an array or a loop's own view."""

    def __len__(self) -> int: ...
    def __getitem__(self, index: int, /) -> NDArray[np.generic]: ...


@dataclass(frozen=True, slots=True, kw_only=True)
class TrackedFrame:
    """Where the ends lie on one frame.

    Attributes
    ----------
    points : tuple of PixelPoint
    correlation : float
        Of the worst end's surroundings with the frame before, −1 to 1.
    return_px : float
        How far the worst end misses its start along the caliper when carried back by one frame;
        along the wall nothing in the picture holds it.
    """

    frame: int
    points: tuple[PixelPoint, ...]
    correlation: float
    return_px: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Track:
    """A caliper's ends over the frames on which they could be followed.

    Attributes
    ----------
    start : int
        The frame on which a person drew it.
    frames : tuple of TrackedFrame
        In order and without gaps, the start among them.
    lost : tuple of str
        Why it ends before the loop does, at either side; empty if it does not.
    drift_px : float
        How far an end misses its start along the caliper when carried back all the way, the
        worst of both ends and both sides.
    """

    start: int
    frames: tuple[TrackedFrame, ...]
    lost: tuple[str, ...]
    drift_px: float


def track_points(
    frames: Frames, points: Sequence[PixelPoint], start: int, *, within: range | None = None
) -> Track:
    """Carry points from one frame through a loop, both ways.

    Each step finds the surroundings of the frame before; where those of the start are still
    recognised, they bind the place, which keeps it from drifting. A point whose surroundings
    change too much, or that does not come back when carried back, ends the track there.

    Parameters
    ----------
    frames : array-like, (frames, rows, columns[, 3])
        Decoded one at a time.
    points : sequence of PixelPoint
        As drawn on frame `start`.
    within : range, optional
        Frames to look at; all if left out.

    Raises
    ------
    InputError
        If the start is not among the frames.
    """
    looked = within or range(len(frames))
    if start not in looked or not 0 <= start < len(frames):
        raise InputError(f"The caliper's frame {start} is not among those to be tracked.")
    first = _Looked(
        frame=smoothed(frames[start], BLUR_PX), places=[(p.row, p.column) for p in points]
    )
    anchors = [patch_at(first.frame, place, radius_px=RADIUS_PX) for place in first.places]
    origin = TrackedFrame(frame=start, points=tuple(points), correlation=1.0, return_px=0.0)
    later = _follow(frames, first, range(start + 1, looked.stop), anchors)
    earlier = _follow(frames, first, range(start - 1, looked.start - 1, -1), anchors)
    return Track(
        start=start,
        frames=(*reversed(earlier.frames), origin, *later.frames),
        lost=tuple(one.lost for one in (earlier, later) if one.lost),
        drift_px=max(earlier.drift_px, later.drift_px),
    )


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _Looked:
    frame: FloatArray
    places: list[Place]


@dataclass(frozen=True, slots=True, kw_only=True)
class _Run:
    frames: tuple[TrackedFrame, ...]
    lost: str
    drift_px: float


def _follow(
    frames: Frames, first: _Looked, numbers: Iterable[int], anchors: Sequence[Patch]
) -> _Run:
    before, found, lost = first, [], ""
    seen = [first]
    for number in numbers:
        picture = smoothed(frames[number], BLUR_PX)
        steps = [
            _step(before.frame, picture, place, anchor)
            for place, anchor in zip(before.places, anchors, strict=True)
        ]
        worst = min(one[1] for one in steps)
        away = _missed([one[2] for one in steps], before.places)
        lost = _why_lost(number, worst, away)
        if lost:
            break
        before = _Looked(frame=picture, places=[one[0] for one in steps])
        seen.append(before)
        points = tuple(PixelPoint(*place) for place in before.places)
        found.append(TrackedFrame(frame=number, points=points, correlation=worst, return_px=away))
    return _Run(frames=tuple(found), lost=lost, drift_px=_carried_back(seen))


def _step(
    before: FloatArray, now: FloatArray, place: Place, anchor: Patch
) -> tuple[Place, float, Place]:
    """Return an end's next place, its correlation, and where it comes to when carried back."""
    patch = patch_at(before, place, radius_px=RADIUS_PX)
    found = find_patch(now, patch, place, prior_px=STEP_PRIOR_PX)
    back = find_patch(
        before,
        patch_at(now, found.place, radius_px=RADIUS_PX),
        found.place,
        prior_px=STEP_PRIOR_PX,
    )
    bound = find_patch(now, anchor, found.place, prior_px=ANCHOR_PX)
    near = math.dist(bound.place, found.place) < 2 * ANCHOR_PX
    kept = bound if near and bound.correlation > ANCHOR_CORRELATION else found
    return kept.place, found.correlation, back.place


def _why_lost(frame: int, correlation: float, away_px: float) -> str:
    if correlation < LEAST_CORRELATION:
        return (
            f"lost at frame {frame}: an end's surroundings changed (correlation {correlation:.2f})"
        )
    if away_px > LARGEST_RETURN_PX:
        return f"lost at frame {frame}: carried back, an end misses its start by {away_px:.1f} px"
    return ""


def _carried_back(seen: Sequence[_Looked]) -> float:
    """Return how far the last places miss the first when carried back step by step."""
    places = list(seen[-1].places)
    for later, earlier in zip(reversed(seen[1:]), reversed(seen[:-1]), strict=True):
        places = [
            find_patch(
                earlier.frame,
                patch_at(later.frame, place, radius_px=RADIUS_PX),
                place,
                prior_px=STEP_PRIOR_PX,
            ).place
            for place in places
        ]
    return _missed(places, seen[0].places)


def _missed(back: Sequence[Place], places: Sequence[Place]) -> float:
    """Return the worst miss along the line from each point to its neighbour."""
    misses = []
    for index, (one, place) in enumerate(zip(back, places, strict=True)):
        other = places[index + 1 if index + 1 < len(places) else index - 1]
        length = math.dist(place, other)
        run = ((other[0] - place[0]) / length, (other[1] - place[1]) / length)
        misses.append(abs((one[0] - place[0]) * run[0] + (one[1] - place[1]) * run[1]))
    return max(misses)
