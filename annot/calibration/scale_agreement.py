"""Two scales on one loop: do they agree within their uncertainties, errors they share left out."""

from collections.abc import Sequence
from dataclasses import dataclass, replace

from annot.calibration.candidates import ScaleCandidate
from annot.calibration.scale import PixelScale
from annot.geometry import PixelPoint
from annot.quality import EnScore, en_score


@dataclass(frozen=True, slots=True, kw_only=True)
class ScaleComparison:
    """Another scale of the loop set against the one in use.

    Attributes
    ----------
    scale
        The other scale.
    score
        Normalised error of the scale in use against it.
    percent
        How much larger the scale in use is.
    """

    scale: PixelScale
    score: EnScore
    percent: float

    @property
    def verdict(self) -> str:
        """Whether they agree, in words."""
        return self.score.verdict

    @property
    def warning(self) -> str:
        """What a row must say of it; empty if the two agree."""
        if self.score.agrees is not False:
            return ""
        return (
            f"the scale is {self.percent:+.1f} % off another of the same loop, "
            f"{self.scale.row.value:.4g} mm/px ({self.scale.basis}): E_n = "
            f"{_number(self.score.e_n)}, more than both uncertainties allow; check size, unit and "
            "trace"
        )

    def facts(self) -> dict[str, object]:
        """Return it for machines."""
        return {
            "kind": self.scale.kind,
            "scale_id": self.scale.key,
            "basis": self.scale.basis,
            "mm_per_px": self.scale.row.value,
            "u_rel": self.scale.u_rel,
            "e_n": self.score.e_n,
            "verdict": self.verdict,
        }


def compare_scales(
    used: PixelScale, candidates: Sequence[ScaleCandidate], *, at: Sequence[PixelPoint] = ()
) -> tuple[ScaleComparison, ...]:
    """Set every other usable scale of a loop against the one in use.

    Both are compared where they are used, at the anatomy's depth, so each brings its own unknown
    depth; what two scales share (a system's error, a depth) counts in neither.

    Parameters
    ----------
    used
        The scale in use.
    candidates
        The loop's scales.
    at
        Where they are compared: of ultrasound regions, only those that hold there count.
    """
    others = {
        one.scale.key: one.scale
        for one in candidates
        if isinstance(one.scale, PixelScale) and _stands_there(one.scale, at)
    }
    return tuple(
        ScaleComparison(
            scale=other,
            score=en_score(used.row, other.row),
            percent=100 * (used.row.value / other.row.value - 1),
        )
        for key, other in others.items()
        if key != used.key
    )


def with_disagreements(scale: PixelScale, others: Sequence[ScaleComparison]) -> PixelScale:
    """Return a scale that warns, once, of every other one that it disagrees with."""
    texts = [one.warning for one in others if one.warning and one.warning not in scale.warnings]
    return replace(scale, warnings=(*scale.warnings, *texts)) if texts else scale


def _stands_there(scale: PixelScale, at: Sequence[PixelPoint]) -> bool:
    if scale.region is None:
        return True
    return bool(at) and scale.region.holds(at)


def _number(e_n: float | None) -> str:
    return "without limit" if e_n is None else f"{e_n:+.1f}"
