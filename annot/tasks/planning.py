"""Landmarks at work: quantities that follow from them, and how far drawn widths lie from rules."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field

from annot.calibration import LoopScale, PixelScale
from annot.calibration.frame_hold import differing_frames
from annot.geometry import length_px
from annot.loops import Loop, LoopArray, refuse_outside
from annot.measurement import Caliper, Known, Measurement
from annot.measurement.by_landmarks import derived_calipers
from annot.measurement.placed_landmark import LandmarkSet, sets_by_frame
from annot.measurement.placement import CARRIED_MM, CARRIED_PX
from annot.measurement.rule_deviation import RuleDeviation, rule_deviations
from annot.measurement.track import track_points
from annot.reads import LoopRead
from annot.tasks.surroundings import Beams
from annot.vocabulary.protocol import Protocol

RULED = ("ostium_width", "landing_zone_width")


@dataclass(frozen=True, slots=True, kw_only=True)
class Carried:
    """How landmarks fare on another frame: how far they moved, or why they are stale there."""

    moved_px: float = 0.0
    stale: str = ""


@dataclass(slots=True, kw_only=True)
class LoopPlan:
    """The landmarks of one loop.

    Attributes
    ----------
    part : LoopRead
    loop : Loop
    scale : LoopScale
    protocol : Protocol
    """

    part: LoopRead
    loop: Loop
    scale: LoopScale
    protocol: Protocol
    _carried: dict[tuple[int, int], Carried] = field(default_factory=dict)

    def __post_init__(self) -> None:
        for one in self.part.landmarks:
            refuse_outside(self.loop.header, one.frame, one.points, what=f"the landmark {one.name}")

    @property
    def sets(self) -> tuple[LandmarkSet, ...]:
        """The landmarks frame by frame."""
        return sets_by_frame(self.part.landmarks, loop=self.part.file)

    def derived(self, beams: Beams) -> Iterator[tuple[Caliper, dict[str, Known]]]:
        """Yield the calipers that follow from landmarks, with what is known of each."""
        uid = self.part.sop_instance_uid or ""
        for marks in self.sets:
            for one in derived_calipers(marks, loop=self.part.file, sop_instance_uid=uid):
                beam = beams.at(self.loop, one.caliper, self.part.apex)
                known = Known(beam=beam, notes=one.notes)
                outcomes = one.caliper.measurand.outcomes
                yield one.caliper, {outcome.name: known for outcome in outcomes}

    def against_rule(self, caliper: Caliper) -> tuple[tuple[RuleDeviation, ...], str]:
        """Return how far a drawn width lies from its rule, or why its landmarks are stale."""
        frame = caliper.frame.frame
        if caliper.measurand.name not in RULED or not self.sets:
            return (), ""
        marks = min(self.sets, key=lambda one: abs(one.frame - frame))
        carried = self._carry(marks, frame)
        if carried.stale:
            return (), f"stale: landmarks of frame {marks.frame} {carried.stale}"
        found = rule_deviations(
            caliper,
            marks,
            self.scale.at(caliper.points, frame=frame),
            inside_mm=self.protocol.landing_zone_inside_mm,
            moved_px=carried.moved_px,
        )
        return found, ""

    def with_rule(
        self, caliper: Caliper, measured: Sequence[Measurement]
    ) -> list[tuple[Measurement, tuple[RuleDeviation, ...]]]:
        """Return measurements that say how far they lie from their rule, in words and as data."""
        found, stale = self.against_rule(caliper)
        notes = (*((stale,) if stale else ()), *(one.words for one in found))
        return [(one.with_remarks(*notes), found) for one in measured]

    def _carry(self, marks: LandmarkSet, frame: int) -> Carried:
        if marks.frame == frame:
            return Carried()
        key = (marks.frame, frame)
        if key not in self._carried:
            self._carried[key] = self._followed(marks, frame)
        return self._carried[key]

    def _followed(self, marks: LandmarkSet, frame: int) -> Carried:
        changed = differing_frames(self.loop.header, (marks.frame, frame))
        if changed:
            return Carried(stale=f"do not hold on frame {frame}: {', '.join(changed)} differ")
        points = [point for one in marks.marks for point in one.points]
        if len(points) < 2:
            return Carried(stale=f"are too few to be followed to frame {frame}: place them there")
        within = range(min(marks.frame, frame), max(marks.frame, frame) + 1)
        track = track_points(LoopArray(self.loop), points, marks.frame, within=within)
        there = [one for one in track.frames if one.frame == frame]
        if not there:
            return Carried(stale=f"cannot be followed to frame {frame}: {'; '.join(track.lost)}")
        moved = max(length_px(pair) for pair in zip(points, there[0].points, strict=True))
        scale = self.scale.at(points, frame=frame)
        if isinstance(scale, PixelScale):
            far, limit = moved * max(scale.row.value, scale.column.value), CARRIED_MM
        else:
            far, limit = moved, CARRIED_PX
        if far > limit.value:
            return Carried(
                stale=f"moved by {far:.1f} {limit.unit} until frame {frame}, more than the "
                f"{limit.value:g} {limit.unit} allowed: place them there"
            )
        return Carried(moved_px=moved)
