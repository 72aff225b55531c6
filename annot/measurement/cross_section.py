"""Several views of one cross-section become one ellipse with its diameters and their intervals."""

from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from annot.geometry.chords import Sightings, distinct_directions, ellipse_of
from annot.geometry.ellipse import Ellipse
from annot.geometry.ellipse_fit import EllipseFit, fit_ellipse
from annot.measurement.cross_section_draws import (
    DIAMETERS,
    corrected_axes,
    draw_sections,
)
from annot.measurement.estimate import StatedValue, drawn_estimate
from annot.measurement.measured_row import MeasuredRow
from annot.measurement.section_views import SeenLength, covariance_of, shares_missing

FloatArray = NDArray[np.float64]
DRAWS = 20_000
# directions closer than this show the same width within any placing of an end
APART_DEG = 5.0
SMALL_P = 0.05
LOOSE = 0.15
NAMES = (*DIAMETERS, "orientation")


@dataclass(frozen=True, slots=True, kw_only=True)
class SectionName:
    """Which cross-section: one study, quantity, reader, modality and moment of the cycle."""

    study: str
    quantity: str
    reader: str
    modality: str
    moment: str = ""

    @property
    def short(self) -> str:
        """Name it among those of one study and quantity."""
        moment = f" at '{self.moment}'" if self.moment else ""
        return f"{self.modality}, reader {self.reader}{moment}"

    @property
    def words(self) -> str:
        """Name it for a reader."""
        return f"{self.study}, {self.quantity}, {self.short}"


@dataclass(frozen=True, slots=True, kw_only=True)
class WithoutView:
    """How the largest diameter changes when one view is left out.

    `p` is the probability of a misfit at least as large as that of the rest, None where the rest
    leaves no check.
    """

    view: SeenLength
    largest: float
    change: float
    u_change: float
    p: float | None = None

    @property
    def words(self) -> str:
        """Say it as a sentence."""
        way = "falls" if self.change < 0 else "rises"
        return (
            f"without the {self.view.words} the largest {way} by {abs(self.change):.2f} mm "
            f"(u {self.u_change:.2f})"
        )


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class CrossSection:
    """One cross-section: what was seen, and the ellipse that it gives.

    Attributes
    ----------
    views : tuple of SeenLength
        What was used, one per view.
    fit : EllipseFit or None
        None where the views cannot tell the ellipse; `warnings` then says what is missing.
    estimates : mapping
        By the names of `NAMES`; orientation is None near a circle.
    p : float or None
        Probability of a misfit at least this large if the uncertainties are right; None where
        the ellipse passes through every view.
    unplaced : tuple of SeenLength
        Lengths without a direction: shown, not fitted.
    """

    name: SectionName
    views: tuple[SeenLength, ...]
    fit: EllipseFit | None = None
    estimates: Mapping[str, StatedValue | None] = field(default_factory=dict)
    dof: int | None = None
    p: float | None = None
    without_view: tuple[WithoutView, ...] = ()
    unplaced: tuple[SeenLength, ...] = ()
    warnings: tuple[str, ...] = ()

    @property
    def chi2(self) -> float | None:
        """Weighted sum of squared misfits."""
        return None if self.fit is None else self.fit.chi2

    @property
    def ellipse(self) -> Ellipse | None:
        """The ellipse as corrected for selection, in its fitted direction."""
        if self.fit is None:
            return None
        largest, smallest = corrected_axes(self.fit)
        turn = ellipse_of(self.fit.parameters).orientation_deg
        return Ellipse(largest=largest, smallest=smallest, orientation_deg=turn)

    @property
    def everything_seen(self) -> tuple[SeenLength, ...]:
        """Return every length, with a direction or without."""
        return (*self.views, *self.unplaced)


def cross_section(
    name: SectionName,
    lengths: Sequence[SeenLength],
    *,
    rng: np.random.Generator,
    notes: Sequence[str] = (),
) -> CrossSection:
    """Fit one cross-section.

    Parameters
    ----------
    name : SectionName
    lengths : sequence of SeenLength
        In mm, one per view; those without a direction are kept aside.
    rng : Generator
        For the intervals.
    notes : sequence of str
        What was left out before, to stand among the warnings.
    """
    views = tuple(one for one in lengths if one.direction_deg is not None)
    unplaced = tuple(one for one in lengths if one.direction_deg is None)
    warnings = [*notes, *about_rows(lengths), *_about_unplaced(unplaced)]
    count = distinct_directions([_direction(one) for one in views], apart_deg=APART_DEG)
    fit = fit_views(views) if count >= 3 else None
    if fit is None:
        warnings.append(_too_few(views or lengths, count))
        return CrossSection(name=name, views=views, unplaced=unplaced, warnings=tuple(warnings))
    dof = len(views) - 3
    p = _tail(fit.chi2, dof)
    estimates = estimates_of(fit, rng)
    without = _without_each(views, fit)
    return CrossSection(
        name=name,
        views=views,
        fit=fit,
        estimates=estimates,
        dof=dof,
        p=p,
        without_view=without,
        unplaced=unplaced,
        warnings=(*warnings, *_about_fit(estimates, dof), *_about_misfit(without, p)),
    )


def fit_views(views: Sequence[SeenLength]) -> EllipseFit | None:
    """Return the ellipse of lengths that all have a direction, or None where none fits."""
    seen = sightings_of(views)
    values = np.array([one.value for one in views])
    return fit_ellipse(values, seen, lambda fitted: covariance_of(views, fitted))


def sightings_of(views: Sequence[SeenLength]) -> Sightings:
    """Return the directions of lengths and what kind each is."""
    return Sightings(
        directions_deg=np.array([_direction(one) for one in views]),
        silhouette=np.array([one.silhouette for one in views], dtype=bool),
    )


def slope_of(fit: EllipseFit, name: str) -> FloatArray:
    """Return the derivatives of a diameter by the fit's (m, p, q), shape (3,)."""
    step = 1e-6
    offsets = step * np.eye(3)
    sides = []
    for sign in (1, -1):
        moved = [ellipse_of(fit.parameters + sign * offset) for offset in offsets]
        sides.append([float(DIAMETERS[name](one.largest, one.smallest)) for one in moved])
    return np.asarray((np.array(sides[0]) - np.array(sides[1])) / (2 * step))


def _direction(one: SeenLength) -> float:
    if one.direction_deg is None:
        raise ValueError("A length without a direction belongs to no ellipse.")
    return one.direction_deg


def _tail(chi2: float, dof: int) -> float | None:
    from scipy.special import chdtrc

    return float(chdtrc(dof, chi2)) if dof > 0 else None


def estimates_of(
    fit: EllipseFit, rng: np.random.Generator, *, draws: int = DRAWS
) -> dict[str, StatedValue | None]:
    """Return every estimate that a fit gives, by `NAMES`; orientation is None near a circle."""
    drawn = draw_sections(fit, rng, draws=draws)
    largest, smallest = corrected_axes(fit)
    found: dict[str, StatedValue | None] = {
        name: drawn_estimate(
            float(of_axes(largest, smallest)),
            drawn.diameter(name),
            "1" if name == "eccentricity" else "mm",
        )
        for name, of_axes in DIAMETERS.items()
    }
    turn = ellipse_of(fit.parameters).orientation_deg
    round_like = float(np.quantile(drawn.largest - drawn.smallest, 0.025)) <= 0
    found["orientation"] = (
        None if round_like else drawn_estimate(turn, turn + drawn.turn_deg, "deg")
    )
    return found


def _without_each(views: tuple[SeenLength, ...], fit: EllipseFit) -> tuple[WithoutView, ...]:
    """Leave each view out in turn, as long as three directions stay."""
    answers = []
    largest = corrected_axes(fit)[0]
    variance = _variance_of_largest(fit)
    for index, view in enumerate(views):
        rest = views[:index] + views[index + 1 :]
        directions = [_direction(one) for one in rest]
        if distinct_directions(directions, apart_deg=APART_DEG) < 3:
            continue
        other = fit_views(rest)
        if other is None:
            continue
        # the whole fit is the better one: the variance of the change is the difference
        gained = max(_variance_of_largest(other) - variance, 0.0)
        without = corrected_axes(other)[0]
        answers.append(
            WithoutView(
                view=view,
                largest=without,
                change=without - largest,
                u_change=float(np.sqrt(gained)),
                p=_tail(other.chi2, len(rest) - 3),
            )
        )
    return tuple(answers)


def _variance_of_largest(fit: EllipseFit) -> float:
    slope = slope_of(fit, "largest")
    return float(slope @ fit.covariance @ slope)


def _too_few(seen: Sequence[SeenLength], count: int) -> str:
    if count >= 3:
        return (
            "the views contradict one another so far that no ellipse fits: check frames, scales "
            "and directions"
        )
    if not seen:
        return "no length in mm was found, so nothing is known of this cross-section"
    widest = max(seen, key=lambda one: one.value)
    narrowest = min(seen, key=lambda one: one.value)
    few = f"{count} direction{'' if count == 1 else 's'}"
    few = few if count else "views that state no direction"
    return (
        f"{few} cannot tell an ellipse, three directions can: known is "
        f"that the largest is at least {widest.value:.1f} mm (u {widest.u:.1f}) and the smallest "
        f"at most {narrowest.value:.1f} mm (u {narrowest.u:.1f}); how much beyond cannot be known"
    )


def about_rows(lengths: Sequence[SeenLength]) -> list[str]:
    """Say what must be known of the rows that lengths came from."""
    rows = [row for one in lengths for row in one.rows]
    warnings = []
    if shares_missing(rows):
        warnings.append(
            "some rows do not say which error they share (scale_id, share_scale): they are taken "
            "as independent, so a shared scale makes the real uncertainty larger"
        )
    if any(row.confirmed is False for row in rows):
        warnings.append("some rows are not confirmed by a person")
    if any(row.overruled for row in rows):
        warnings.append("some rows use a scale that was refused and overruled")
    return [*warnings, *_said_by_rows(rows)]


def _said_by_rows(rows: Sequence[MeasuredRow]) -> list[str]:
    """Pass on what the rows themselves warn of, each once with how many rows say it."""
    told = ("not confirmed by a person", "scale overruled")
    counts = Counter(
        text
        for row in rows
        for text in dict.fromkeys(row.warnings.split("; "))
        if text and not text.startswith(told)
    )
    return [f"{count} of {len(rows)} rows: {text}" for text, count in counts.items()]


def _about_unplaced(unplaced: Sequence[SeenLength]) -> list[str]:
    if not unplaced:
        return []
    count = sum(len(one.rows) for one in unplaced)
    stand = "rows without view_deg stand" if count > 1 else "row without view_deg stands"
    return [f"{count} {stand} outside the ellipse"]


def _about_fit(estimates: Mapping[str, StatedValue | None], dof: int) -> list[str]:
    warnings = []
    if dof == 0:
        warnings.append(
            "three views fix the ellipse without any check: one wrong view would not show"
        )
    largest = estimates["largest"]
    if largest is not None and largest.u > LOOSE * largest.value:
        warnings.append(
            "the directions lie too close together, or the views are too uncertain, to tell the "
            "largest: add a view where none was taken"
        )
    if estimates["orientation"] is None:
        warnings.append(
            "the ellipse cannot be told from a circle: it has no known orientation, and the "
            "largest reads high by a bias that correction does not fully remove"
        )
    return warnings


def _about_misfit(without: Sequence[WithoutView], p: float | None) -> list[str]:
    """Say that the views disagree, and which one the others would agree without."""
    if p is None or p >= SMALL_P:
        return []
    disagree = (
        f"the views disagree more than their uncertainties allow (p = {p:.2g}): check frame, scale "
        "and landmarks before using the diameters"
    )
    checked = [(one.p, one) for one in without if one.p is not None]
    if not checked:
        return [disagree]
    best, odd = max(checked, key=lambda pair: pair[0])
    if best < SMALL_P:
        return [f"{disagree}; no single view explains it"]
    return [f"{disagree}; without the {odd.view.words} the others agree (p = {best:.2g})"]
