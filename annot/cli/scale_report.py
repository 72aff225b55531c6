"""What `annot scale` says of a scale, for a person at a terminal."""

from pathlib import Path

from annot.cli.printing import say, say_caution, say_table, say_warnings
from annot.errors import InputError
from annot.tasks.calibrate import ScaleAnswer
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
    say_table(
        "What its variance is made of",
        ("source", "kind", ">value", ">u", "unit", ">share"),
        [_budget_row(line) for line in _lines(facts)],
    )
    if picture is not None:
        say(f"Picture of the fit: {picture}")
    say_warnings(scale.warnings)
    say_caution()


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
