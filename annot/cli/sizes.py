"""`annot sizes`: which rows of the user's own chart the measurements support, and how firmly."""

from pathlib import Path
from typing import Annotated

import typer

from annot.cli.printing import say, say_caution, say_json, say_table, say_warnings
from annot.tasks.section import StatedValue, load_rows
from annot.tasks.sizes import (
    SizeAnswer,
    answers_of,
    load_chart,
    shown_share,
    write_sizes_picture,
)

OWNER = (
    "This is no recommendation. The probabilities say how well the measurements support each row "
    "of this chart, given their uncertainties; whether the chart applies, and which size if any, "
    "is for its owner and the treating physician to decide."
)
MOST_TIPS = 4


def sizes(  # noqa: PLR0913, PLR0917 - each option of the command is an argument
    table: Annotated[Path, typer.Argument(help="a measurement table (CSV)")],
    chart: Annotated[Path, typer.Option(help="your size chart (CSV)")],
    basis: Annotated[
        str, typer.Option(help="what the chart means by width: largest, area or perimeter")
    ] = "largest",
    quantity: Annotated[str, typer.Option(help="which width")] = "landing_zone_width",
    off_centre: Annotated[
        float, typer.Option(min=0.0, max=10.0, help="± mm an echo plane may miss the centre")
    ] = 0.0,
    common_zero: Annotated[
        bool,
        typer.Option("--common-zero", help="X-ray and echo directions share zero and sense"),
    ] = False,
    picture: Annotated[Path | None, typer.Option(help="write widths and rows (PNG)")] = None,
    json: Annotated[bool, typer.Option("--json", help="print JSON for machines")] = False,
) -> None:
    """Set measured widths and depths against your own size chart; it recommends nothing."""
    answers = answers_of(
        load_rows(table),
        load_chart(chart),
        basis=basis,
        quantity=quantity,
        off_centre_mm=off_centre,
        common_zero=common_zero,
    )
    if picture is not None:
        write_sizes_picture(answers, picture)
    if json:
        say_json([row for one in answers for row in one.facts()])
        return
    for one in answers:
        _print(one)
    if picture is not None:
        say(f"Picture: {picture}")
    say(OWNER)
    say_caution()


def _print(answer: SizeAnswer) -> None:
    basis = answer.basis
    depth = "not measured" if basis.depth is None else _words(basis.depth)
    say(
        f"\n{basis.section.name.words}\n  width by the {basis.basis} diameter "
        f"{_words(basis.width)}; depth {depth}"
    )
    rows = [
        (
            one.label,
            shown_share(one.probability),
            shown_share(one.probability_width),
            _stacked(one.compression_percent),
            _stacked(one.oversize_mm),
            _stacked(one.depth_margin_mm),
        )
        for one in answer.matches
        if not one.outside or one.probability >= 0.005
    ]
    numbers = ("chance", "by width alone", "compression", "nominal − width", "depth to spare")
    heads = ("row", *(f">{name}" for name in numbers))
    say_table("", heads, rows)
    tipping = [tip for tip in answer.tips if tip.tips][:MOST_TIPS]
    for tip in tipping:
        say(f"  {tip.words}")
    if answer.tips and not tipping:
        say("  No single view left out and no error of one u moves the width to another row.")
    for other in answer.others:
        say(
            f"  Reader {other.reader} measures {_words(other.width)}; both true widths lie in the "
            f"same rows with a probability of {shown_share(other.same_rows)}."
        )
    warnings = [*basis.section.warnings, *basis.warnings]
    say_warnings(
        [*warnings, *(f"{m.label}: {text}" for m in answer.matches for text in m.warnings)]
    )


def _stacked(found: StatedValue | None) -> str:
    """Return a value above its interval, so that a narrow screen breaks neither."""
    return _words(found).replace(" (", "\n").removesuffix(")")


def _words(found: StatedValue | None) -> str:
    if found is None:
        return "–"
    unit = f" {found.unit}"
    return f"{found.value:.1f}{unit} ({found.low:.1f} to {found.high:.1f})"
