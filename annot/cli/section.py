"""`annot section`: from the widths of many views to one ellipse per cross-section."""

from pathlib import Path
from typing import Annotated

import typer

from annot.cli.printing import say, say_caution, say_json, say_table, say_warnings
from annot.tasks.section import (
    NAMES,
    CrossSection,
    SideBySide,
    StatedValue,
    load_rows,
    section_facts,
    sections_of,
    side_by_side,
    write_section_picture,
)
from annot.uncertainty import decimals_for


def section(
    table: Annotated[Path, typer.Argument(help="a measurement table (CSV)")],
    together: Annotated[
        bool, typer.Option("--together", help="views, modalities and readers side by side")
    ] = False,
    common_zero: Annotated[
        bool,
        typer.Option("--common-zero", help="X-ray and echo directions share zero and sense"),
    ] = False,
    off_centre: Annotated[
        float, typer.Option(min=0.0, max=10.0, help="± mm an echo plane may miss the centre")
    ] = 0.0,
    picture: Annotated[Path | None, typer.Option(help="write a forest plot (PNG)")] = None,
    json: Annotated[bool, typer.Option("--json", help="print JSON for machines")] = False,
) -> None:
    """Fit one ellipse per cross-section: largest, smallest, derived diameters, each with u."""
    rows = load_rows(table)
    sections = sections_of(rows, off_centre_mm=off_centre, common_zero=common_zero)
    compared = side_by_side(rows, sections, common_zero=common_zero)
    if picture is not None:
        write_section_picture(compared, picture)
    if json:
        facts = [one.facts() for one in compared]
        say_json(facts if together else [section_facts(one) for one in sections])
        return
    for one in sections:
        _print_section(one)
    if together:
        for group in compared:
            _print_together(group)
    if picture is not None:
        say(f"Picture: {picture}")
    say_warnings(f"{one.name.words}: {text}" for one in sections for text in one.warnings)
    say_caution()


def _print_section(section: CrossSection) -> None:
    views = ", ".join(
        f"{one.words} {one.value:.1f} ± {one.u:.1f} mm" for one in section.everything_seen
    )
    say(f"\n{section.name.words}\n  seen: {views}")
    if section.fit is None:
        return
    rows = [
        (name.replace("_", " "), *_cells(found))
        for name in NAMES
        if (found := section.estimates.get(name)) is not None
    ]
    say_table("", ("quantity", ">value ± u", ">95 % interval"), rows)
    if section.p is not None:
        say(f"  misfit: χ² {section.chi2:.2f} for {section.dof} (p = {section.p:.2f})")
    for left_out in section.without_view:
        say(f"  {left_out.words}")


def _cells(found: StatedValue) -> tuple[str, str]:
    places, unit = decimals_for(found.u), "" if found.unit == "1" else f" {found.unit}"
    return (
        f"{found.value:.{places}f} ± {found.u:.{places}f}{unit}",
        f"{found.low:.{places}f} … {found.high:.{places}f}",
    )


def _print_together(group: SideBySide) -> None:
    say(f"\nSide by side: {group.study}, {group.quantity}")
    for one in group.differences:
        say(f"  {one.xray} against {one.ultrasound}: {one.words}")
    if group.pairs:
        rows = [
            (one.first, one.second, one.diameter, *_cells(one.difference), f"{one.e_n:+.2f}")
            for one in group.pairs
        ]
        heads = ("this", "less this", "diameter", ">difference ± u", ">95 % interval", ">E_n")
        say_table("Differences, shared errors taken out", heads, rows)
    if group.combinations:
        rows = [
            (
                one.diameter + (f" at '{one.moment}'" if one.moment else ""),
                _cells(one.weighted)[0],
                f"{one.birge_ratio:.2f}",
                _cells(one.mandel_paule)[0],
                f"{one.between_sd:.2f} mm",
                f"{one.plain_largest:.1f} mm",
            )
            for one in group.combinations
        ]
        heads = (
            "diameter",
            ">weighted mean",
            ">Birge ratio",
            ">with the spread between",
            ">spread",
            ">plain largest",
        )
        say_table("Combined", heads, rows)
    for check in group.outlines:
        traced = _cells(check.traced)[0]
        say(
            f"  traced {check.outline}: {check.diameter} {traced}, minus the ellipse of "
            f"{check.section} {check.difference.value:+.2f} ± "
            f"{check.difference.u:.2f} mm (E_n {check.e_n:+.2f})"
        )
