"""The width and depth that a chart is asked with, and how they may truly be together."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from annot.geometry.ellipse import area_diameter, perimeter_diameter
from annot.measurement.cross_section import DRAWS, CrossSection, about_rows
from annot.measurement.cross_section_draws import draw_sections
from annot.measurement.estimate import StatedValue, drawn_estimate
from annot.measurement.section_views import SeenLength, covariance_of, cross_covariance
from annot.sizing.few_views import draw_open_ellipses

FloatArray = NDArray[np.float64]
_OTHER_DEPTH = "the depth was measured with the other modality"
BASES = {"largest": "largest", "area": "area_diameter", "perimeter": "perimeter_diameter"}


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class SizeBasis:
    """One cross-section's width by a convention, with the depth, as they may truly be.

    Attributes
    ----------
    section : CrossSection
    basis : str
        largest, area or perimeter.
    width : StatedValue
    widths_mm : array, shape (n,)
        Drawn true widths.
    depth : StatedValue or None
        None where no depth was measured.
    depths_mm : array, shape (n,), or None
        Drawn true depths, each belonging to the width of the same place.
    """

    section: CrossSection
    basis: str
    width: StatedValue
    widths_mm: FloatArray
    depth: StatedValue | None
    depths_mm: FloatArray | None
    warnings: tuple[str, ...] = ()


def size_basis(
    section: CrossSection,
    depths: Sequence[SeenLength],
    *,
    basis: str,
    rng: np.random.Generator,
) -> SizeBasis:
    """Bring the width by a convention and the mean depth together.

    A scale that both share moves both: their covariance is drawn along.

    Parameters
    ----------
    section : CrossSection
        With an ellipse, or else with at least one length in mm: then every ellipse that the views
        leave open is drawn, and a warning says so.
    depths : sequence of SeenLength
        One per view; empty where no depth was measured.
    basis : {"largest", "area", "perimeter"}
    rng : Generator
    """
    weights = np.full(len(depths), 1 / len(depths)) if depths else np.zeros(0)
    variance = weights @ covariance_of(depths) @ weights if depths else 0.0
    depth = float(weights @ np.array([one.value for one in depths])) if depths else 0.0
    if section.fit is not None:
        shared = section.fit.gain @ cross_covariance(section.views, depths) @ weights
        drawn = draw_sections(
            section.fit,
            rng,
            draws=DRAWS,
            others=np.array([[float(variance)]]),
            cross=shared.reshape(3, 1),
        )
        widths, errors = drawn.diameter(BASES[basis]), drawn.errors[:, 0]
        known = section.estimates[BASES[basis]]
        value = float(np.mean(widths)) if known is None else known.value
        warnings: tuple[str, ...] = ()
    else:
        widths, errors = _without_ellipse(section, depths, weights, basis=basis, rng=rng)
        value = float(np.mean(widths))
        warnings = (LEFT_OPEN.format(basis),)
    depths_mm = depth + errors if depths else None
    return SizeBasis(
        section=section,
        basis=basis,
        width=drawn_estimate(value, widths, "mm"),
        widths_mm=widths,
        depth=None if depths_mm is None else drawn_estimate(depth, depths_mm, "mm"),
        depths_mm=depths_mm,
        warnings=(*warnings, *_about_depths(depths, section.name.modality)),
    )


LEFT_OPEN = (
    "too few directions for an ellipse: how oval the opening is and which way it lies were left "
    "open, so the {} diameter cannot be known well and its interval is wide"
)


def _without_ellipse(
    section: CrossSection,
    depths: Sequence[SeenLength],
    weights: FloatArray,
    *,
    basis: str,
    rng: np.random.Generator,
) -> tuple[FloatArray, FloatArray]:
    """Return drawn widths, and the depth's errors (true − measured) that belong to them."""
    seen = section.everything_seen
    drawn = draw_open_ellipses(seen, shadows=section.name.modality == "XA", rng=rng, draws=DRAWS)
    widths = {
        "largest": drawn.largest,
        "area": area_diameter(drawn.largest, drawn.smallest),
        "perimeter": perimeter_diameter(drawn.largest, drawn.smallest),
    }[basis]
    if not depths:
        return widths, np.zeros(DRAWS)
    shared = cross_covariance(seen, depths) @ weights
    follows = np.linalg.solve(covariance_of(seen), shared)
    rest = float(weights @ covariance_of(depths) @ weights - shared @ follows)
    own = np.sqrt(max(rest, 0.0)) * rng.standard_normal(DRAWS)
    return widths, -(drawn.errors @ follows) - own


def _about_depths(depths: Sequence[SeenLength], modality: str) -> tuple[str, ...]:
    if not depths:
        return ("no depth in the table: the rows are matched by width alone",)
    others = {row.modality for one in depths for row in one.rows} - {modality}
    found = () if modality not in {"US", "XA"} or not others else (_OTHER_DEPTH,)
    of_rows = (f"depth: {text}" for text in about_rows(depths))
    return (*found, *of_rows, *_depths_apart(depths))


def _depths_apart(depths: Sequence[SeenLength]) -> tuple[str, ...]:
    if len(depths) < 2:
        return ()
    values = np.array([one.value for one in depths])
    spread = float(np.ptp(values))
    pairs = covariance_of(depths)
    far, near = int(np.argmax(values)), int(np.argmin(values))
    variance = pairs[far, far] + pairs[near, near] - 2 * pairs[far, near]
    if spread <= 2 * np.sqrt(variance):
        return ()
    return (
        f"the depths differ by {spread:.1f} mm between views, more than their uncertainties allow: "
        "a view along the depth sees it short, and the mean of the views is used",
    )
