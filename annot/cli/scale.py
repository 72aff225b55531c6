"""`annot scale`: mm per pixel of one loop, from an object, the header or a given number."""

import re
from collections.abc import Mapping
from pathlib import Path
from typing import Annotated

import typer

from annot.cli.depth_words import depth_pair
from annot.cli.printing import say_json
from annot.cli.scale_report import print_scale
from annot.geometry import PixelPoint
from annot.reads import parse_request
from annot.tasks.calibrate import all_depth_presets, scale_loop
from annot.tasks.open import open_loop

Fields = dict[str, object]


def scale(  # noqa: PLR0913, PLR0917 - each option of the command is an argument
    loop: Annotated[Path, typer.Argument(help="the loop's DICOM file, or its images' folder")],
    catheter: Annotated[str | None, typer.Option(help="its size: 6F or 2.0mm")] = None,
    sphere: Annotated[float | None, typer.Option(help="its diameter in mm")] = None,
    segment: Annotated[float | None, typer.Option(help="a known length in mm")] = None,
    header: Annotated[bool, typer.Option("--header", help="what the file states itself")] = False,
    given: Annotated[float | None, typer.Option(help="mm per pixel from elsewhere")] = None,
    along: Annotated[str | None, typer.Option(help="row,column,row,column[,…] of a trace")] = None,
    at: Annotated[str | None, typer.Option(help="row,column[,radius] of a sphere or place")] = None,
    frame: Annotated[int | None, typer.Option(help="frame from 0; default 0")] = None,
    frames: Annotated[str | None, typer.Option(help="several frames, as first:after-last")] = None,
    surface: Annotated[str | None, typer.Option(help="outer or inner; default outer")] = None,
    other: Annotated[float | None, typer.Option(help="a catheter's other diameter, mm")] = None,
    tolerance: Annotated[float | None, typer.Option(help="± mm of the size as measured")] = None,
    filling: Annotated[str | None, typer.Option(help="empty, contrast or unknown")] = None,
    depth_offset: Annotated[float | None, typer.Option(help="± mm in depth to the anatomy")] = None,
    depth_range: Annotated[
        str | None, typer.Option(help="low,high mm that the anatomy is nearer to the source")
    ] = None,
    depth_preset: Annotated[
        str | None, typer.Option(help=f"a usual place: {', '.join(all_depth_presets())}")
    ] = None,
    tilt: Annotated[float | None, typer.Option(help="± degrees of a known length's tilt")] = None,
    u_rel: Annotated[float | None, typer.Option(help="relative u of a given scale")] = None,
    overrule: Annotated[str | None, typer.Option(help="reason for a scale that is refused")] = None,
    picture: Annotated[Path | None, typer.Option(help="write a picture of the fit (PNG)")] = None,
    json: Annotated[bool, typer.Option("--json", help="print JSON for machines")] = False,
) -> None:
    """Scale one loop: mm per pixel with its budget, from exactly one kind of reference."""
    options: Fields = {
        "surface": surface,
        "other_mm": other,
        "tolerance_mm": tolerance,
        "filling": filling,
        "depth_offset_mm": depth_offset,
        "depth_range_mm": None if depth_range is None else depth_pair(depth_range),
        "depth_preset": depth_preset,
        "tilt_deg": tilt,
        "u_rel": u_rel,
        "overrule": overrule,
    }
    asked = {
        "catheter": catheter,
        "sphere": sphere,
        "segment": segment,
        "header": header or None,
        "given": given,
    }
    looks = _frames(frame, frames)
    fields = {
        **_kind(asked, u_rel),
        **{name: value for name, value in options.items() if value is not None},
    }
    fields |= _trace(str(fields["kind"]), along, at, looks)
    opened = open_loop(loop)
    request = parse_request(fields, name="annot scale")
    answer = scale_loop(opened, request, at=_place(fields, at), frame=looks[0])
    if picture is not None:
        from annot.tasks.picture import scale_picture

        scale_picture(opened, answer, looks[0], picture)
    if json:
        say_json(answer.as_dict())
    else:
        print_scale(loop, answer, picture=picture)


def _kind(asked: Mapping[str, object], u_rel: float | None) -> Fields:
    named = {kind: value for kind, value in asked.items() if value is not None}
    if len(named) != 1:
        raise typer.BadParameter(
            "name exactly one of --catheter, --sphere, --segment, --header, --given"
        )
    [(kind, value)] = named.items()
    if kind == "given" and u_rel is None:
        raise typer.BadParameter("--given needs its relative standard uncertainty, --u-rel")
    if kind == "catheter":
        return {"kind": kind, **_catheter_size(str(value))}
    size = {"sphere": "diameter_mm", "segment": "length_mm", "given": "mm_per_px"}
    return {"kind": kind} if kind == "header" else {"kind": kind, size[kind]: value}


def _catheter_size(text: str) -> Fields:
    match = re.fullmatch(r"\s*([0-9]*\.?[0-9]+)\s*(fr|f|mm)\s*", text, flags=re.IGNORECASE)
    if match is None:
        raise typer.BadParameter(f"a catheter's size is written 6F or 2.0mm, not '{text}'")
    value, unit = float(match[1]), match[2].lower()
    return {"size_mm": value} if unit == "mm" else {"size_fr": value}


def _numbers(text: str, option: str) -> list[float]:
    try:
        return [float(part) for part in text.split(",")]
    except ValueError:
        raise typer.BadParameter(
            f"{option} takes numbers with commas between, not '{text}'"
        ) from None


def _frames(frame: int | None, frames: str | None) -> list[int]:
    if frames is None:
        return [frame or 0]
    match = re.fullmatch(r"(\d+):(\d+)", frames)
    if match is None or frame is not None or int(match[1]) >= int(match[2]):
        raise typer.BadParameter(
            "--frames takes FIRST:AFTER_LAST, for instance 0:8, without --frame"
        )
    return list(range(int(match[1]), int(match[2])))


def _trace(kind: str, along: str | None, at: str | None, frames: list[int]) -> Fields:
    """Return the object's trace in the read file's own fields, once per frame."""
    if kind in ("header", "given"):
        return {}
    if kind == "sphere":
        numbers = _numbers(at or "", "--at") if at else []
        if len(numbers) != 3:
            raise typer.BadParameter("--sphere needs --at row,column,radius")
        trace: Fields = {"centre_px": numbers[:2], "radius_px": numbers[2]}
    else:
        numbers = _numbers(along, "--along") if along else []
        if len(numbers) < 4 or len(numbers) % 2:
            raise typer.BadParameter(f"--{kind} needs --along row,column,row,column")
        pairs = [numbers[k : k + 2] for k in range(0, len(numbers), 2)]
        trace = {"axis_px" if kind == "catheter" else "points_px": pairs}
    if len(frames) == 1:
        return {"frame": frames[0], **trace}
    return {"readings": [{"frame": one, **trace} for one in frames]}


def _place(fields: Fields, at: str | None) -> tuple[PixelPoint, ...]:
    if at is None or fields["kind"] == "sphere":
        return ()
    numbers = _numbers(at, "--at")
    if len(numbers) != 2:
        raise typer.BadParameter("--at takes row,column here")
    return (PixelPoint(numbers[0], numbers[1]),)
