"""What `annot scale` says of a scale, for a person at a terminal."""

from pathlib import Path

from annot.cli.object_report import object_words
from annot.cli.printing import say, say_caution, say_table, say_warnings
from annot.errors import InputError
from annot.tasks.calibrate import NoScale, ScaleAnswer, ScaleComparison
from annot.uncertainty import decimals_for


def print_scale(loop: Path, answer: ScaleAnswer, *, picture: Path | None = None) -> None:
    """Say what the scale is, what it rests on and what its variance is made of."""
    scale, row = answer.scale, answer.scale.row
    facts = answer.as_dict()
    places = decimals_for(row.u) + 1
    say(f"{loop.name}: scale {scale.key}")
    say(
        f"{row.value:.{places}f} ± {row.u:.{places}f} mm per pixel down the rows (standard "
        f"uncertainty, {100 * scale.u_rel:.2f} %), 95 % interval {facts['low']:.{places}f} to "
        f"{facts['high']:.{places}f}; along the columns {scale.column.value:.{places}f}."
    )
    say(f"It rests on {scale.basis}.")
    if answer.made.seen is not None:
        say(f"Sections used {facts['sections_used']}, rejected {facts['sections_rejected']}.")
        for words in object_words(answer.made.seen.details):
            say(words)
    say_table(
        "What its variance is made of",
        ("source", "kind", ">value", ">u", "unit", ">share"),
        [_budget_row(line) for line in _lines(facts)],
    )
    _say_others(answer)
    if picture is not None:
        say(f"Picture of the fit: {picture}")
    say_warnings(scale.warnings)
    say_caution()


def _say_others(answer: ScaleAnswer) -> None:
    """Say what else the loop offers, how it agrees, and what was refused or is only offered."""
    if answer.made.others:
        say_table(
            f"Other scales of this loop; in use is {answer.scale.key}, because {answer.why}",
            ("rests on", ">mm per pixel", ">u", ">E_n", "verdict"),
            [_other_row(one) for one in answer.made.others],
        )
    for one in answer.refused:
        if isinstance(one.scale, NoScale) and one.stated_mm is not None:
            say(f"No scale: {one.basis}, {one.stated_mm[0]:.4g} mm: {one.scale.reason}.")
    for offer in answer.offers:
        say(f"On offer: {offer.words}.")


def _other_row(other: ScaleComparison) -> tuple[str, ...]:
    e_n = other.score.e_n
    return (
        other.scale.basis,
        f"{other.scale.row.value:.4g}",
        f"{100 * other.scale.u_rel:.2g} %",
        "–" if e_n is None else f"{e_n:+.2f}",
        other.verdict,
    )


def _lines(facts: dict[str, object]) -> list[dict[str, object]]:
    budget = facts["budget"]
    if not isinstance(budget, list):
        raise InputError("The scale has no budget.")
    return sorted(budget, key=lambda line: -float(line["share"]))


def _budget_row(line: dict[str, object]) -> tuple[str, ...]:
    return (
        str(line["source"]),
        str(line["component"]),
        f"{line['value']:.5g}",
        f"{line['u']:.3g}",
        str(line["unit"]),
        f"{100 * float(str(line['share'])):.1f} %",
    )
