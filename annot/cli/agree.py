"""`annot agree`: how far readers, readings or modalities of one table are apart."""

from pathlib import Path
from typing import Annotated

import typer

from annot.agreement import FORMS, Statistic
from annot.cli.printing import say, say_json, say_table, say_warnings
from annot.tasks.agree import Agreement, agreements_of, write_agreement_picture
from annot.tasks.section import load_rows
from annot.vocabulary import CAUTION

SCOPE = (
    "Intervals here are confidence intervals of the statistics, from the spread between cases: an "
    "error that both sides share, such as one scale or one wrong landmark, does not show in them."
)


def agree(
    table: Annotated[Path, typer.Argument(help="a measurement table (CSV)")],
    by: Annotated[str, typer.Option(help="reader, repeat or modality")] = "reader",
    quantity: Annotated[str | None, typer.Option(help="one quantity only")] = None,
    picture: Annotated[Path | None, typer.Option(help="write the differences (PNG)")] = None,
    json: Annotated[bool, typer.Option("--json", help="print JSON for machines")] = False,
) -> None:
    """Compare two sides case by case: bias, limits of agreement, repeatability, correlations."""
    found = agreements_of(load_rows(table), by=by, quantity=quantity)
    if picture is not None:
        write_agreement_picture(found, picture)
    if json:
        say_json([one.facts() for one in found])
        return
    for one in found:
        _print(one)
    if picture is not None:
        say(f"Picture: {picture}")
    say(SCOPE)
    say(CAUTION)


def _print(one: Agreement) -> None:
    limits, unit = one.limits, one.unit
    left = f" ({one.left_out} only one side has)" if one.left_out else ""
    say(f"\n{one.quantity.replace('_', ' ')}: {one.first} − {one.second}, {one.cases} cases{left}")
    rows = [
        ("mean difference", *_cells(limits.bias, unit)),
        (f"lower limit, −{limits.multiplier:g} SD", *_cells(limits.lower, unit)),
        (f"upper limit, +{limits.multiplier:g} SD", *_cells(limits.upper, unit)),
    ]
    for side, own in one.within.items():
        rows.append((f"within-subject SD, {side}", *_cells(own.within_sd, unit)))
        rows.append((f"repeatability coefficient, {side}", *_cells(own.coefficient, unit)))
    rows.append(("concordance correlation", *_cells(one.concordance.coefficient, "")))
    rows += [
        (f"intraclass correlation ({form}), {meaning}", *_cells(one.intraclass[form], ""))
        for form, meaning in FORMS.items()
    ]
    say_table("", ("statistic", ">value", ">95 % interval"), rows)
    say_warnings(one.warnings)


def _cells(one: Statistic, unit: str) -> tuple[str, str]:
    places = 2 if unit else 3
    end = f" {unit}" if unit else ""
    return f"{one.value:.{places}f}{end}", f"{one.low:.{places}f} to {one.high:.{places}f}"
