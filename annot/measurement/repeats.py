"""What a reader's own repeats say: how well an end is placed, how well the frame is chosen.

Repeats on one frame tell the first, repeats with the frame chosen anew the second; one set of
readings never feeds both (JCGM 100:2008 4.2 and 4.3.10: nothing is counted twice).
"""

import math
from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import Literal

from annot.calibration import NoScale, PixelScale
from annot.measurement.caliper import Caliper
from annot.measurement.placement import LEAST_REPEAT_DOF
from annot.uncertainty import InputQuantity

Subject = tuple[str, str, str]  # outcome, modality, unit


@dataclass(frozen=True, slots=True, kw_only=True)
class Reading:
    """One drawn number, with what tells whether another one repeats it.

    `loop`, `beat` and `moment` name what was to be read; `frame` is where it was read.
    """

    outcome: str
    modality: str
    unit: str
    loop: str
    frame: int
    value: float
    repeat: int = 1
    view_deg: float | None = None
    beat: int | None = None
    moment: str | None = None

    @property
    def subject(self) -> Subject:
        """What scatters are pooled over."""
        return (self.outcome, self.modality, self.unit)

    @property
    def target(self) -> tuple[object, ...]:
        """What was to be read; two readings of one target with two repeat numbers are repeats."""
        return (*self.subject, self.loop, self.view_deg, self.beat, self.moment)


@dataclass(frozen=True, slots=True, kw_only=True)
class Scatter:
    """A standard deviation of single readings, pooled within groups.

    Attributes
    ----------
    sd, dof : float
        In `unit`, with the degrees of freedom it is known to.
    readings, groups : int
        What it comes from.
    whole : bool
        Of a choice of frame: whether it holds the placing too, as there were no repeats on one
        frame to take out.
    """

    kind: Literal["placing", "frame"]
    sd: float
    dof: float
    unit: str
    readings: int
    groups: int
    whole: bool = False

    def as_input(self, key: str) -> InputQuantity:
        """Return the scatter of one reading as a term of zero mean."""
        if self.kind == "placing":
            words = (
                f"placing both ends: {self.readings} repeats on the same frame in {self.groups} "
                f"groups, each end {self.sd / math.sqrt(2):.2g} {self.unit}"
            )
        else:
            both = " and placing" if self.whole else ""
            words = (
                f"choosing the frame{both}: {self.readings} repeats with the frame chosen anew in "
                f"{self.groups} groups"
            )
        return InputQuantity(
            key=f"{key}:{self.kind}",
            value=0.0,
            u=self.sd,
            unit=self.unit,
            dof=self.dof,
            evaluation="A",
            distribution="t",
            component="ends" if self.kind == "placing" else "other",
            source=words,
        )


@dataclass(frozen=True, slots=True, kw_only=True)
class RepeatEvidence:
    """Scatters by subject, and what a reader must know of sets that were too small."""

    placing: Mapping[Subject, Scatter]
    frame: Mapping[Subject, Scatter]
    notes: Mapping[Subject, str]


def evidence_of(readings: Iterable[Reading]) -> RepeatEvidence:
    """Pool one reader's repeats.

    A target whose repeats lie on one frame feeds placing; one whose repeats all lie on frames of
    their own feeds the choice of frame; of a mixed target only the repeats that share a frame
    count, for placing.
    """
    same, free = _sorted_out(readings)
    placing: dict[Subject, Scatter] = {}
    frame: dict[Subject, Scatter] = {}
    notes: dict[Subject, str] = {}
    for subject in {**same, **free}:
        placed, left = _pooled(same[subject], subject, "placing")
        chosen, also_left = _pooled(free[subject], subject, "frame")
        net = None if chosen is None else without(chosen, placed)
        placing |= {} if placed is None else {subject: placed}
        frame |= {} if net is None else {subject: net}
        notes |= {subject: left or also_left} if left or also_left else {}
    return RepeatEvidence(placing=placing, frame=frame, notes=notes)


Groups = dict[Subject, list[list[float]]]


def _sorted_out(readings: Iterable[Reading]) -> tuple[Groups, Groups]:
    """Return the groups that share a frame, and those whose frames were chosen anew."""
    same: Groups = defaultdict(list)
    free: Groups = defaultdict(list)
    for target in _targets(readings):
        subject = target[0].subject
        frames: dict[int, list[float]] = defaultdict(list)
        for one in target:
            frames[one.frame].append(one.value)
        repeated = [values for values in frames.values() if len(values) > 1]
        if repeated:
            same[subject].extend(repeated)
        elif len(target) > 1:
            free[subject].append([one.value for one in target])
    return same, free


def _targets(readings: Iterable[Reading]) -> list[list[Reading]]:
    """Group what repeats one another; of one repeat number on one frame the first counts."""
    found: dict[tuple[object, ...], dict[int, Reading]] = defaultdict(dict)
    for one in readings:
        found[one.target].setdefault(one.repeat, one)
    return [list(target.values()) for target in found.values()]


def _pooled(
    groups: Sequence[Sequence[float]], subject: Subject, kind: Literal["placing", "frame"]
) -> tuple[Scatter | None, str]:
    """Return the pooled scatter, or why it is not used."""
    dof = sum(len(group) - 1 for group in groups)
    if dof == 0:
        return None, ""
    if dof < LEAST_REPEAT_DOF.value:
        return None, (
            f"{dof + len(groups)} repeats are too few to say how they scatter: "
            f"{LEAST_REPEAT_DOF.value:g} degrees of freedom are needed, there are {dof}"
        )
    squares = sum((one - math.fsum(g) / len(g)) ** 2 for g in groups for one in g)
    if squares == 0:
        return None, "all repeats are identical, which says nothing about how well they are placed"
    return Scatter(
        kind=kind,
        sd=math.sqrt(squares / dof),
        dof=float(dof),
        unit=subject[2],
        readings=sum(len(group) for group in groups),
        groups=len(groups),
        whole=kind == "frame",
    ), ""


def without(chosen: Scatter, placed: Scatter | None) -> Scatter | None:
    """Take the placing, which scatters free repeats too, out of the choice of frame.

    Without repeats on one frame the free ones stand for both. Degrees of freedom of the
    difference of two variances follow Satterthwaite; where placing explains all, nothing is left.
    """
    if placed is None:
        return chosen
    variance = chosen.sd**2 - placed.sd**2
    if variance <= 0:
        return None
    dof = variance**2 / (chosen.sd**4 / chosen.dof + placed.sd**4 / placed.dof)
    return Scatter(
        kind="frame",
        sd=math.sqrt(variance),
        dof=max(dof, 1.0),
        unit=chosen.unit,
        readings=chosen.readings,
        groups=chosen.groups,
    )


def without_stated(
    chosen: Scatter, caliper: Caliper, scale: PixelScale | NoScale
) -> Scatter | None:
    """Take the placing that a read states for a caliper's ends out of a choice of frame."""
    u_mm, u_px = caliper.u_end_mm, caliper.u_end_px
    if u_px is not None and isinstance(scale, PixelScale):
        u_mm = u_px * scale.row.value
    u_end = u_mm if isinstance(scale, PixelScale) else u_px
    if u_end is None:
        return chosen
    stated = Scatter(
        kind="placing",
        sd=math.sqrt(2) * u_end,
        dof=math.inf,
        unit=chosen.unit,
        readings=0,
        groups=0,
    )
    return without(chosen, stated)
