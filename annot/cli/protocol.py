"""`annot protocol`: what a study asks for, and what a read still owes it."""

from collections.abc import Sequence
from pathlib import Path
from typing import Annotated

import typer

from annot.cli.printing import say, say_caution, say_json, say_table
from annot.tasks.handover import HandOver, hand_over
from annot.tasks.measure import measure_read
from annot.tasks.protocol import (
    load_protocol,
    protocol_facts,
    protocol_hash,
    shipped_protocols,
    start_protocol,
    write_protocol_page,
)
from annot.tasks.read import load_read
from annot.tasks.sign_off import (
    SignedLine,
    settled_of,
    sign_lines,
    sign_off_path,
    signed_lines,
)
from annot.tasks.sizes import load_chart
from annot.tasks.zone import zone_proposals
from annot.uncertainty import value_with_u
from annot.vocabulary.gap_schemes import GAP_SCHEMES
from annot.vocabulary.landmarks import QUANTITIES
from annot.vocabulary.protocol import Protocol

protocol = typer.Typer(no_args_is_help=True, help="Start, check and show a protocol of a study.")
Json = Annotated[bool, typer.Option("--json", help="print JSON for machines")]
Chart = Annotated[
    Path | None,
    typer.Option(help="your size chart (CSV), where the protocol minds different rows of it"),
]


@protocol.command()
def new(
    file: Annotated[Path, typer.Argument(help="file to write, ending in .yaml")],
    like: Annotated[str, typer.Option(help="shipped protocol to start from")] = "closure-planning",
    json: Json = False,
) -> None:
    """Write a copy of a shipped protocol for a laboratory to change."""
    made = start_protocol(file, like=like)
    if json:
        say_json(protocol_facts(made))
        return
    say(f"{file} holds the protocol {made.label}; change it and run annot protocol check {file}.")


@protocol.command()
def check(
    file: Annotated[Path, typer.Argument(help="protocol file (YAML)")], json: Json = False
) -> None:
    """Check a protocol file; every fault is named with its line and what to do."""
    found = load_protocol(str(file))
    if json:
        say_json({"protocol": found.label, "fingerprint": found.fingerprint})
        return
    say(
        f"{file} is a protocol: {found.label}, {len(found.quantities)} quantities, fingerprint "
        f"{found.fingerprint}."
    )


@protocol.command()
def show(
    name: Annotated[
        str | None, typer.Argument(help="a shipped protocol or a file; none lists them")
    ] = None,
    output: Annotated[
        Path | None,
        typer.Option("-o", "--output", help="write a page with a sketch of each quantity (HTML)"),
    ] = None,
    json: Json = False,
) -> None:
    """Show what a protocol asks for: quantities, definitions, views, repeats, limits."""
    names = shipped_protocols() if name is None else (name,)
    found = [load_protocol(one) for one in names]
    if output is not None:
        if name is None:
            raise typer.BadParameter("name one protocol to write its page")
        write_protocol_page(found[0], output)
        if not json:
            say(f"Page: {output}")
            return
    if json:
        say_json([protocol_facts(one) for one in found])
        return
    for one in found:
        _print(one, whole=name is not None)


@protocol.command()
def missing(
    read: Annotated[Path, typer.Argument(help="the read file (JSON)")],
    chart: Chart = None,
    json: Json = False,
) -> None:
    """List what a read's protocol still asks for, and what whoever takes it over must know."""
    answer = _measured(read, chart)
    signed = signed_lines(answer, read)
    settled = settled_of(answer, read)
    if json:
        facts = answer.facts() | {"lines": [one.facts() for one in signed]}
        say_json(facts | {"settled": [one.topic for one in settled]})
        return
    print_hand_over(answer, signed)
    for one in settled:
        say(f"  settled: {one.text} — signed by {one.by}, {one.at:%Y-%m-%d %H:%M} UTC: {one.word}")
    if any(one.state != "signed" for one in signed):
        say(f"Sign a line by its code: annot protocol sign {read} CODE --by WHO --word WORD")
    say_caution()


@protocol.command()
def sign(
    read: Annotated[Path, typer.Argument(help="the read file (JSON)")],
    codes: Annotated[list[str], typer.Argument(help="codes of the lines, as missing lists them")],
    by: Annotated[str, typer.Option(help="the code you go by; no name")],
    word: Annotated[str, typer.Option(help="what your signature means: accepted, to be read, …")],
    chart: Chart = None,
    json: Json = False,
) -> None:
    """Sign lines of a read's hand-over list; a line that changes later is open again."""
    answer = _measured(read, chart)
    signed = sign_lines(answer, read, codes, by=by, word=word)
    if json:
        say_json([one.facts() for one in signed])
        return
    for one in signed:
        say(f"  {one.words}")
    still = sum(one.state != "signed" for one in signed)
    say(f"{len(signed) - still} of {len(signed)} lines are signed; kept in {sign_off_path(read)}.")


@protocol.command()
def zone(
    read: Annotated[Path, typer.Argument(help="the read file (JSON), with landmarks")],
    json: Json = False,
) -> None:
    """Propose each landing zone by the protocol's rule, ended by the walls; change nothing."""
    found = zone_proposals(load_read(read), read.parent)
    if json:
        say_json([one.facts() for one in found])
        return
    rows = []
    for one in found:
        if one.measurement is None:
            rows.append((one.file, str(one.frame), "–", "–", one.reason))
            continue
        width = one.measurement.estimate
        ends = "; ".join(f"{p.row:.1f}, {p.column:.1f}" for p in one.measurement.caliper.points)
        rows.append(
            (
                one.file,
                str(one.frame),
                f"{value_with_u(width.value, width.u)} {one.measurement.result.unit}",
                f"{width.interval.low:.1f} … {width.interval.high:.1f}",
                ends,
            )
        )
    heads = ("loop", ">frame", ">width ± u", ">95 % interval", "ends (row, column), or why not")
    say_table("Landing zones by rule and walls; none counts until taken into the read", heads, rows)
    say_caution()


def _measured(read: Path, chart: Path | None) -> HandOver:
    content = load_read(read)
    known = None if chart is None else load_chart(chart)
    return hand_over(content, measure_read(content, read.parent), chart=known)


def print_hand_over(answer: HandOver, signed: Sequence[SignedLine] = ()) -> None:
    """Print what a protocol still asks for and the rest of the hand-over list."""
    lines = [one.words for one in signed] or list(answer.sentences())
    state = "still asks for" if answer.missing else "is complete"
    say(f"\nProtocol {answer.protocol} {state}{':' if lines else '.'}")
    for line in lines:
        say(f"  {line}")


def _print(found: Protocol, *, whole: bool) -> None:
    say(
        f"{found.label} ({found.title}), fingerprint {found.fingerprint}; with this program's "
        f"defaults a table's protocol_hash is {protocol_hash(found)}"
    )
    if not whole:
        return
    rows = [
        (
            one.quantity,
            QUANTITIES[one.quantity].outcomes[0].unit,
            f"{one.definition} [{one.source}]",
            "; ".join(view.title for view in one.views),
            f"{one.repeats} × {one.beats}",
            one.moment if one.required else f"{one.moment}, optional",
        )
        for one in found.quantities
    ]
    heads = ("quantity", "unit", "definition [source]", "views", ">repeats × beats", "moment")
    say_table("", heads, rows)
    limits = found.adjudication
    say(f"Size by: {found.size_by.replace('_', ' ')}.")
    if found.landing_zone_inside_mm is not None:
        say(f"Landing zone {found.landing_zone_inside_mm:g} mm inside the ostium.")
    if found.gap_scheme is not None:
        rule = GAP_SCHEMES[found.gap_scheme].rule
        say(f"Gaps are classed by the scheme {found.gap_scheme}: {rule}.")
    say(f"Asked for with every loop: {', '.join(found.conditions) or 'nothing'}.")
    rows_too = " or in another row of a size chart" if limits.another_size_row else ""
    say(
        f"A third reader beyond {limits.apart_mm or '–'} mm, {limits.apart_percent or '–'} % "
        f"({limits.limits}){rows_too}; in the end: {limits.final}."
    )
    say(f"Hidden from a blinded reader: {', '.join(found.blinding.hide) or 'nothing'}.")
