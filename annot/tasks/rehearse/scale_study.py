"""The study of scales: whether a fitted object gives the true size, as sure as it says."""

import math
from collections.abc import Mapping, Sequence
from types import MappingProxyType

from annot.tasks.rehearse import ball_case, grid_case, marker_case, shaft_case
from annot.tasks.rehearse.report import (
    Bar,
    StudyReport,
    cells_bar,
    cells_of,
    coverage_bar,
    refusals_of,
)
from annot.tasks.rehearse.shaft_case import AS_MODELLED
from annot.tasks.rehearse.study import Study
from annot.tasks.rehearse.tally import BOUND, grouped, tally
from annot.tasks.rehearse.trial import Trial

GOOD_BOUND_REL, MOST_BIAS_REL, MOST_OVER_BOUND = 0.01, 0.005, 1.5
LEAST_CASES = 20  # fewer say nothing about a cell's scatter
CELL = ("size", "blur", "contrast")
# by each label alone as well: cells of all three seldom hold enough
BOUND_CUTS = (*((name,) for name in (*CELL, "filling", "other diameter")), CELL)
COARSE = (
    ("quantity",),
    ("quantity", "size"),
    ("quantity", "blur"),
    ("quantity", "contrast"),
    ("quantity", *CELL),
)
QUANTITIES = ("size, fit alone", "scale")

SCALE_KINDS: Mapping[str, Study] = MappingProxyType(
    {
        "catheter": Study(
            name="scale-catheter",
            run=shaft_case.run_shaft_case,
            drawn=shaft_case.DRAWN,
            cells=(
                ("quantity",),
                ("quantity", "size"),
                ("quantity", "blur"),
                ("quantity", "contrast"),
                ("quantity", "other diameter"),
                ("quantity", "filling"),
                ("quantity", *CELL),
            ),
        ),
        "markers": Study(
            name="scale-markers",
            run=marker_case.run_marker_case,
            drawn=marker_case.DRAWN,
            cells=COARSE,
        ),
        "sphere": Study(
            name="scale-sphere",
            run=ball_case.run_ball_case,
            drawn=ball_case.DRAWN,
            cells=COARSE,
        ),
        "grid": Study(
            name="scale-grid",
            run=grid_case.run_grid_case,
            drawn=grid_case.DRAWN,
            cells=COARSE,
        ),
    }
)


def scale_study(study: Study, trials: Sequence[Trial], *, cases: int, seed: int) -> StudyReport:
    """Return what the trials of a scale study come to, with a verdict per bar."""
    cells = cells_of(trials, study.cells)
    plain = [one for one in trials if one.arm == AS_MODELLED]
    bars = []
    for quantity in QUANTITIES:
        own = [one for one in plain if one.labels["quantity"] == quantity]
        bars += [
            coverage_bar(tally(own), what=quantity),
            cells_bar(
                [
                    one
                    for one in cells
                    if one.arm == AS_MODELLED and one.labels.get("quantity") == quantity
                ],
                what=quantity,
            ),
        ]
    fits = [one for one in plain if one.labels["quantity"] == QUANTITIES[0]]
    return StudyReport(
        study=study.name,
        seed=seed,
        cases=cases,
        drawn=study.drawn,
        cells=cells,
        bars=(*bars, *_bound_bars(fits)),
        refusals=refusals_of(trials),
    )


def _bound_bars(fits: Sequence[Trial]) -> tuple[Bar, Bar]:
    """Judge bias and scatter in the cells where the picture holds enough to ask for both."""
    good = [
        one
        for one in fits
        if one.value is not None and one.beside.get(BOUND, math.inf) <= GOOD_BOUND_REL
    ]
    cells = {
        _words(names, key): own
        for names in BOUND_CUTS
        for key, own in grouped(good, names).items()
        if len(own) >= LEAST_CASES
    }
    asked_bias = (
        f"size, fit alone: where the bound is at most {100 * GOOD_BOUND_REL:g} %, bias below "
        f"{100 * MOST_BIAS_REL:g} %"
    )
    asked_scatter = (
        f"size, fit alone: in the same cells, scatter at most {MOST_OVER_BOUND:g} times the bound"
    )
    if not cells:
        none = f"no cell has {LEAST_CASES} such cases"
        return Bar(asked=asked_bias, seen=none, met=None), Bar(
            asked=asked_scatter, seen=none, met=None
        )
    bias = {key: _bias(own) for key, own in cells.items()}
    over = {key: tally(own).over_bound or 0.0 for key, own in cells.items()}
    worst, widest = max(bias, key=lambda key: bias[key][0]), max(over, key=lambda key: over[key])
    return (
        Bar(
            asked=asked_bias,
            seen=(
                f"{len(cells)} cells, largest {100 * bias[worst][0]:.2f} ± "
                f"{100 * bias[worst][1]:.2f} % ({worst}); "
                f"{sum(value >= MOST_BIAS_REL for value, _ in bias.values())} not below"
            ),
            met=all(value - 2 * u < MOST_BIAS_REL for value, u in bias.values()),
        ),
        Bar(
            asked=asked_scatter,
            seen=(
                f"{len(cells)} cells, largest {over[widest]:.2f} times ({widest}), over "
                f"all {tally(good).over_bound:.2f} times; "
                f"{sum(value > MOST_OVER_BOUND for value in over.values())} above"
            ),
            met=all(
                over[key] <= MOST_OVER_BOUND * (1 + 2 / math.sqrt(2 * len(own)))
                for key, own in cells.items()
            ),
        ),
    )


def _bias(trials: Sequence[Trial]) -> tuple[float, float]:
    found = tally(trials)
    return abs(found.bias_rel or 0.0), found.u_bias_rel or 0.0


def _words(names: Sequence[str], key: Sequence[str]) -> str:
    return ", ".join(
        text if name == "size" else f"{name} {text}" for name, text in zip(names, key, strict=True)
    )
