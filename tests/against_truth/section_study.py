"""How often a cross-section's intervals hold the truth, and what bias is left: many drawn studies.

Run ``python -m tests.against_truth.section_study --studies 1000`` for the tables that
DEVELOPERS.md shows. Each study draws an ellipse, its chords or shadows, an error per view and an
error of the scale that all views share, and asks the fit and the estimates of `annot section`.
"""

import argparse
import sys
from dataclasses import dataclass

import numpy as np

from annot.geometry.ellipse import Ellipse
from annot.measurement.cross_section import estimates_of, fit_views
from annot.measurement.measured_row import MeasuredRow
from annot.measurement.section_views import views_of

NAMES = ("largest", "smallest", "mean", "area_diameter", "perimeter_diameter", "eccentricity")
ECCENTRICITIES, NOISES_MM = (0.0, 0.3, 0.5, 0.6, 0.7, 0.8), (0.3, 0.6, 1.0)
VIEWS = (0.0, 45.0, 90.0, 135.0)
SCALE_REL = 0.015
DRAWS = 4000


@dataclass(frozen=True, slots=True, kw_only=True)
class Cell:
    """One kind of study: shape, noise of a view, modality."""

    eccentricity: float
    noise_mm: float
    modality: str = "US"


@dataclass(frozen=True, slots=True, kw_only=True)
class CellAnswer:
    """Mean relative bias (of eccentricity: absolute) and share of intervals holding the truth."""

    cell: Cell
    bias: dict[str, float]
    held: dict[str, float]
    plain_largest_bias: float
    studies: int


def ellipse_of_study(cell: Cell, rng: np.random.Generator) -> Ellipse:
    """Draw a cross-section of 18 to 26 mm area-derived diameter in any direction."""
    root = (1 - cell.eccentricity**2) ** 0.25
    size = rng.uniform(18, 26)
    return Ellipse(largest=size / root, smallest=size * root, orientation_deg=rng.uniform(0, 180))


def rows_of_study(cell: Cell, one: Ellipse, rng: np.random.Generator) -> list[MeasuredRow]:
    """Return what a reader would measure, under one scale that is off."""
    shown = one.chord(VIEWS) if cell.modality == "US" else one.silhouette(VIEWS)
    widths = shown * (1 + SCALE_REL * rng.normal()) + cell.noise_mm * rng.normal(size=len(VIEWS))
    rows = []
    for turn, width in zip(VIEWS, widths, strict=True):
        scale = SCALE_REL * width
        u = float(np.hypot(scale, cell.noise_mm))
        rows.append(
            MeasuredRow(
                study="S",
                quantity="landing_zone_width",
                reader="A",
                value=float(width),
                unit="mm",
                u=u,
                modality=cell.modality,
                view_deg=turn,
                scale_id="one",
                share_scale=float(scale**2 / u**2),
            )
        )
    return rows


def study(cell: Cell, *, studies: int, seed: int = 1) -> CellAnswer:
    """Run one cell."""
    rng = np.random.default_rng([seed, round(100 * cell.eccentricity), round(10 * cell.noise_mm)])
    errors, held, plain = [], [], []
    for _ in range(studies):
        true = ellipse_of_study(cell, rng)
        rows = rows_of_study(cell, true, rng)
        estimates = estimates_of(fit_views(views_of(rows)), rng, draws=DRAWS)
        found = [(getattr(true, key), estimates[key]) for key in NAMES]
        errors.append(
            [_error(real, one.value, key) for key, (real, one) in zip(NAMES, found, strict=True)]
        )
        held.append([one.low <= real <= one.high for real, one in found])
        plain.append(max(row.value for row in rows) / true.largest - 1)
    return CellAnswer(
        cell=cell,
        bias=dict(zip(NAMES, np.mean(errors, axis=0).tolist(), strict=True)),
        held=dict(zip(NAMES, np.mean(held, axis=0).tolist(), strict=True)),
        plain_largest_bias=float(np.mean(plain)),
        studies=studies,
    )


def _error(true: float, value: float, name: str) -> float:
    return value - true if name == "eccentricity" else value / true - 1


def main() -> None:
    """Print the tables."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--studies", type=int, default=1000)
    parser.add_argument("--modality", choices=("US", "XA"), default="US")
    parser.add_argument("--eccentricity", type=float, nargs="+", default=ECCENTRICITIES)
    parser.add_argument("--noise", type=float, nargs="+", default=NOISES_MM)
    asked = parser.parse_args()
    heads = [
        f"{what} {key}"
        for what, keys in (("bias %", NAMES[:-1]), ("held %", NAMES))
        for key in keys
    ]
    _say(["e", "noise mm", *heads, "bias % widest view"])
    _say(["---"] * (len(heads) + 3))
    for eccentricity in asked.eccentricity:
        for noise in asked.noise:
            cell = Cell(eccentricity=eccentricity, noise_mm=noise, modality=asked.modality)
            one = study(cell, studies=asked.studies)
            bias = [f"{100 * one.bias[key]:+.2f}" for key in NAMES[:-1]]
            held = [f"{100 * one.held[key]:.1f}" for key in NAMES]
            widest = f"{100 * one.plain_largest_bias:+.2f}"
            _say([f"{eccentricity:g}", f"{noise:g}", *bias, *held, widest])


def _say(cells: list[str]) -> None:
    sys.stdout.write(f"| {' | '.join(cells)} |\n")
    sys.stdout.flush()


if __name__ == "__main__":
    main()
