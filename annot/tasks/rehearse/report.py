"""What a study found: tallies by arm and cell, and each bar with its verdict in words."""

import re
from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import asdict, dataclass
from typing import Any

from annot.tasks.rehearse.tally import Tally, grouped, tally
from annot.tasks.rehearse.trial import Trial

COVERAGE_ASKED = (0.93, 0.97)
LARGE = 400  # answers from which a coverage is judged
CAUTION_OF_STUDIES = (
    "Coverage on rendered pictures shows that intervals keep their word where the stated "
    "distributions hold; it shows nothing about a room, an object or a reader that differ from "
    "them."
)


@dataclass(frozen=True, slots=True, kw_only=True)
class Bar:
    """One thing a study must show: what is asked, what was seen, and whether that meets it.

    `met` is None where there are too few cases to tell.
    """

    asked: str
    seen: str
    met: bool | None

    @property
    def verdict(self) -> str:
        """The verdict as a word."""
        return "cannot be told" if self.met is None else "met" if self.met else "MISSED"


@dataclass(frozen=True, slots=True, kw_only=True)
class Cell:
    """A group of trials by its labels, and what they come to."""

    arm: str
    labels: Mapping[str, str]
    tally: Tally

    @property
    def words(self) -> str:
        """The labels in one line."""
        said = {"blur": "blur ", "contrast": "contrast ", "filling": "filling "}
        said["other diameter"] = "other diameter "
        return ", ".join(said.get(name, "") + text for name, text in self.labels.items()) or "all"


@dataclass(frozen=True, slots=True, kw_only=True)
class StudyReport:
    """Everything a study found."""

    study: str
    seed: int
    cases: int
    drawn: Mapping[str, str]
    cells: tuple[Cell, ...]
    bars: tuple[Bar, ...]
    refusals: Mapping[str, int]

    def as_dict(self) -> dict[str, Any]:
        """Return the report for machines."""
        return {
            "study": self.study,
            "seed": self.seed,
            "cases": self.cases,
            "drawn": dict(self.drawn),
            "cells": [
                {"arm": one.arm, **one.labels, **asdict(one.tally), "answered": one.tally.answered}
                for one in self.cells
            ],
            "bars": [{**asdict(one), "verdict": one.verdict} for one in self.bars],
            "refusals": dict(self.refusals),
            "caution": CAUTION_OF_STUDIES,
        }


def cells_of(trials: Sequence[Trial], cuts: Sequence[Sequence[str]]) -> tuple[Cell, ...]:
    """Return the tally of every cell of every cut, arm by arm."""
    found = []
    for arm in dict.fromkeys(one.arm for one in trials):
        own = [one for one in trials if one.arm == arm]
        for names in cuts:
            cells = grouped(own, names)
            for key in sorted(cells, key=_natural):
                labels = dict(zip(names, key, strict=True))
                found.append(Cell(arm=arm, labels=labels, tally=tally(cells[key])))
    return tuple(found)


def _natural(key: tuple[str, ...]) -> tuple[tuple[int, float, str], ...]:
    """Sort numbers as numbers: a cell of 6 px comes before one of 13 px."""

    def part(text: str) -> tuple[int, float, str]:
        try:
            return 0, float(text.split(maxsplit=1)[0]), text
        except ValueError:
            return 1, 0.0, text

    return tuple(part(text) for text in key)


def refusals_of(trials: Sequence[Trial]) -> dict[str, int]:
    """Return in how many cases each refusal was given, numbers in its sentence left out."""
    given = {(one.case, re.sub(r"\d+(\.\d+)?", "…", one.refusal)) for one in trials if one.refusal}
    return dict(Counter(sentence for _, sentence in sorted(given)).most_common())


def coverage_bar(found: Tally, *, what: str) -> Bar:
    """Judge an overall coverage: the share seen lies within the limits asked for.

    Of 400 honest intervals chance alone puts the share outside once in 20 studies, of fewer more
    often: about those nothing is said.
    """
    low, high = COVERAGE_ASKED
    asked = f"{what}: 95 % intervals hold the truth in {100 * low:g} to {100 * high:g} %"
    if found.coverage is None:
        return Bar(asked=asked, seen="no interval", met=None)
    met = low <= found.coverage <= high if found.answered >= LARGE else None
    return Bar(asked=asked, seen=coverage_words(found), met=met)


def cells_bar(cells: Sequence[Cell], *, what: str, least: float = 0.90) -> Bar:
    """Judge the coverage of every large cell: none below `least` beyond chance.

    A cell fails when even the upper exact limit of its share lies below.
    """
    large = [one for one in cells if one.tally.answered >= LARGE]
    asked = f"{what}: no cell of {LARGE} or more below {100 * least:g} % beyond chance"
    if not large:
        return Bar(asked=asked, seen=f"no cell has {LARGE} answers", met=None)
    lowest = min(large, key=lambda one: one.tally.coverage or 0.0)
    return Bar(
        asked=asked,
        seen=f"{len(large)} such cells, the lowest ({lowest.words}) {coverage_words(lowest.tally)}",
        met=all((one.tally.coverage_high or 0.0) >= least for one in large),
    )


def coverage_words(found: Tally) -> str:
    """Return a coverage as a sentence's part, with its limits and counts."""
    if found.coverage is None or found.coverage_low is None or found.coverage_high is None:
        return "no interval"
    return (
        f"{100 * found.coverage:.1f} % ({100 * found.coverage_low:.1f} to "
        f"{100 * found.coverage_high:.1f} %), {found.held} of {found.answered}"
    )
