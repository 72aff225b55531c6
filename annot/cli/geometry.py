"""`annot geometry`: landmarks of two X-ray views in space, lengths without foreshortening."""

from pathlib import Path
from typing import Annotated

import typer

from annot.cli.printing import (
    say,
    say_caution,
    say_json,
    say_table,
    say_warnings,
    view_words,
)
from annot.geometry import PixelPoint
from annot.tasks.geometry import (
    GeometryAnswer,
    MarkedView,
    StatedValue,
    estimate_of,
    geometry_of,
    marked_by_read,
    write_geometry_picture,
)
from annot.tasks.open import open_loop
from annot.tasks.read import load_read
from annot.uncertainty import value_with_u

NUMBERS = 2


def geometry(  # noqa: PLR0913, PLR0917 - each option of the command is an argument
    loop_a: Annotated[Path, typer.Argument(help="an X-ray loop")],
    loop_b: Annotated[Path, typer.Argument(help="another view of the same patient")],
    points: Annotated[
        list[str] | None,
        typer.Option(help="NAME=rowA,columnA:rowB,columnB, once for each landmark"),
    ] = None,
    read: Annotated[
        Path | None, typer.Option(help="take the landmarks that this read places on both loops")
    ] = None,
    frame_a: Annotated[int, typer.Option(min=0, help="frame from 0 in the first loop")] = 0,
    frame_b: Annotated[int, typer.Option(min=0, help="frame from 0 in the second")] = 0,
    u_px: Annotated[
        float, typer.Option(min=0.01, max=100, help="u of placing a landmark, px")
    ] = 1.0,
    neck: Annotated[str | None, typer.Option(help="FROM,TO landmarks of the neck's axis")] = None,
    reach: Annotated[str, typer.Option(help="steepest LAO/RAO,CRA/CAU of the stand")] = "60,40",
    picture: Annotated[Path | None, typer.Option(help="write both views (PNG)")] = None,
    json: Annotated[bool, typer.Option("--json", help="print JSON for machines")] = False,
) -> None:
    """Bring landmarks of two views into space: true lengths, heights, the view's angle."""
    if (read is None) == (not points):
        raise typer.BadParameter("give the landmarks by --points or by --read, one of the two")
    if read is not None:
        content = load_read(read)
        first, second = (
            marked_by_read(content, open_loop(path), file=path.name) for path in (loop_a, loop_b)
        )
    else:
        first, second = _by_hand(points or [], ((loop_a, frame_a), (loop_b, frame_b)))
    answer = geometry_of(first, second, u_px=u_px, neck=_neck(neck), reach_deg=_reach(reach))
    if picture is not None:
        write_geometry_picture(answer, picture)
    if json:
        say_json(answer.facts())
        return
    _print(answer)
    if picture is not None:
        say(f"Picture: {picture}")
    say_warnings(answer.warnings)
    say(
        "The central ray is taken to meet the image's middle, and both frames to show the same "
        "moment of the cycle."
    )
    say_caution()


def _by_hand(
    points: list[str], views: tuple[tuple[Path, int], tuple[Path, int]]
) -> tuple[MarkedView, MarkedView]:
    marks = dict(_landmark(text) for text in points)
    if len(marks) != len(points):
        raise typer.BadParameter("--points names a landmark twice")
    first, second = (
        MarkedView(
            loop=open_loop(path),
            frame=frame,
            points={name: places[index] for name, places in marks.items()},
        )
        for index, (path, frame) in enumerate(views)
    )
    return first, second


def _landmark(text: str) -> tuple[str, tuple[PixelPoint, PixelPoint]]:
    name, _, places = text.partition("=")
    first, colon, second = places.partition(":")
    if not name.strip() or not colon:
        raise typer.BadParameter(f"--points is NAME=rowA,columnA:rowB,columnB, not '{text}'")
    pairs = _pair(first, "--points"), _pair(second, "--points")
    return name.strip(), (PixelPoint(*pairs[0]), PixelPoint(*pairs[1]))


def _pair(text: str, option: str) -> tuple[float, float]:
    try:
        numbers = [float(part) for part in text.split(",")]
    except ValueError:
        numbers = []
    if len(numbers) != NUMBERS:
        raise typer.BadParameter(f"{option} takes two numbers with a comma between, not '{text}'")
    return numbers[0], numbers[1]


def _reach(text: str) -> tuple[float, float]:
    primary, secondary = _pair(text, "--reach")
    if not (0 <= primary <= 180 and 0 <= secondary <= 90):
        raise typer.BadParameter(
            f"--reach takes angles up to 180 and 90 degrees with a comma between, not '{text}'"
        )
    return primary, secondary


def _neck(text: str | None) -> tuple[str, str] | None:
    if text is None:
        return None
    names = [part.strip() for part in text.split(",")]
    if len(names) != NUMBERS or names[0] == names[1]:
        raise typer.BadParameter("--neck takes two names of landmarks with a comma between")
    return names[0], names[1]


def _print(answer: GeometryAnswer) -> None:
    angle, p = answer.space.angle_deg, answer.space.p
    views = " and ".join(
        view_words(view.primary_deg, view.secondary_deg) for view in answer.space.views
    )
    say(f"{views} are {angle:.0f}° apart (p of the misfit {p:.2f}).")
    facts = answer.facts()
    rows = []
    for index, one in enumerate(answer.space.landmarks):
        place = [value_with_u(part.value, part.u) for part in answer.space.places[index]]
        rows.append((one.name, *place, f"{answer.misses_mm[index]:.2f}"))
    heads = ("landmark", ">left mm", ">back mm", ">head mm", ">rays miss by mm")
    say_table("Places from the first view's isocentre", heads, rows)
    say_table(
        "Lengths, not foreshortened",
        ("from", "to", ">length ± u", ">95 % interval"),
        [(a, b, *_cells(estimate_of(length))) for a, b, length in answer.lengths],
    )
    _print_neck(answer, facts)


def _print_neck(answer: GeometryAnswer, facts: dict[str, object]) -> None:
    neck = facts["neck"]
    if answer.neck is None or not isinstance(neck, dict):
        return
    for index, angle in enumerate(neck["angle_to_view"]):
        cells = _cells(StatedValue(**angle))
        direction = neck["silhouette_deg"][index]
        say(
            f"The {('first', 'second')[index]} view meets the axis {answer.neck[0]} – "
            f"{answer.neck[1]} at {cells[0]} (90° sees it in full length) and shows its width in "
            f"direction {direction:.0f}° around it."
            if direction is not None
            else f"The view looks along the axis: {cells[0]}."
        )
    shown = ", ".join(view_words(round(p), round(s)) for p, s in answer.square)
    say(
        f"Square to that axis within the stand's reach: {shown}."
        if shown
        else "No view within the stand's reach is square to that axis."
    )


def _cells(found: StatedValue) -> tuple[str, str]:
    return (
        f"{value_with_u(found.value, found.u)} {found.unit}",
        f"{found.low:.1f} … {found.high:.1f}",
    )
