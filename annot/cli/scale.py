"""`annot scale`: mm per pixel of one loop, from an object, the header or a given number."""

from pathlib import Path
from typing import Annotated

import typer

from annot.cli.depth_words import depth_pair
from annot.cli.printing import say_json
from annot.cli.scale_fields import (
    Fields,
    count_fields,
    frame_numbers,
    object_fields,
    place_of,
    reading_fields,
)
from annot.cli.scale_report import print_scale
from annot.reads import parse_request
from annot.tasks.calibrate import all_depth_presets, scale_loop
from annot.tasks.open import open_loop


def scale(  # noqa: PLR0913, PLR0917 - each option of the command is an argument
    loop: Annotated[Path, typer.Argument(help="the loop's DICOM file, or its images' folder")],
    catheter: Annotated[str | None, typer.Option(help="its size: 6F or 2.0mm")] = None,
    bands: Annotated[float | None, typer.Option(help="marker bands' spacing in mm")] = None,
    sphere: Annotated[float | None, typer.Option(help="its diameter in mm")] = None,
    grid: Annotated[float | None, typer.Option(help="a grid's spacing in mm")] = None,
    step: Annotated[float | None, typer.Option(help="a step plate's spacing in mm")] = None,
    segment: Annotated[float | None, typer.Option(help="a known length in mm")] = None,
    header: Annotated[bool, typer.Option("--header", help="what the file states itself")] = False,
    given: Annotated[float | None, typer.Option(help="mm per pixel from elsewhere")] = None,
    along: Annotated[
        list[str] | None,
        typer.Option(help="row,column,row,column[,…] of a trace; once more for each repeat"),
    ] = None,
    at: Annotated[str | None, typer.Option(help="row,column[,radius] of a sphere, a place")] = None,
    corners: Annotated[str | None, typer.Option(help="row,column of a grid's 4 corners")] = None,
    count: Annotated[int | None, typer.Option(help="bands or edges that you count")] = None,
    frame: Annotated[int | None, typer.Option(help="frame from 0; default 0")] = None,
    frames: Annotated[str | None, typer.Option(help="several frames, as first:after-last")] = None,
    device: Annotated[str | None, typer.Option(help="catheter or sheath; default catheter")] = None,
    surface: Annotated[str | None, typer.Option(help="outer or inner; default outer")] = None,
    other: Annotated[float | None, typer.Option(help="a catheter's other diameter, mm")] = None,
    tolerance: Annotated[float | None, typer.Option(help="± mm of the size as measured")] = None,
    source: Annotated[str | None, typer.Option(help="the size is a label, or measured")] = None,
    filling: Annotated[str | None, typer.Option(help="empty, contrast or unknown")] = None,
    filling_rel: Annotated[
        float | None, typer.Option(help="± share of its width that filling and material may change")
    ] = None,
    depth_offset: Annotated[float | None, typer.Option(help="± mm in depth to the anatomy")] = None,
    depth_range: Annotated[
        str | None, typer.Option(help="low,high mm that the anatomy is nearer to the source")
    ] = None,
    depth_preset: Annotated[
        str | None, typer.Option(help=f"a usual place: {', '.join(all_depth_presets())}")
    ] = None,
    tilt: Annotated[
        float | None, typer.Option(help="± degrees of a length's or spacing's tilt")
    ] = None,
    named: Annotated[str | None, typer.Option("--object", help="which object it is")] = None,
    material: Annotated[str | None, typer.Option(help="what the object is made of")] = None,
    u_rel: Annotated[float | None, typer.Option(help="relative u of a given scale")] = None,
    overrule: Annotated[str | None, typer.Option(help="reason for a scale that is refused")] = None,
    picture: Annotated[Path | None, typer.Option(help="write a picture of the fit (PNG)")] = None,
    json: Annotated[bool, typer.Option("--json", help="print JSON for machines")] = False,
) -> None:
    """Scale one loop: mm per pixel with its budget, from exactly one kind of reference."""
    options: Fields = {
        "device": device,
        "surface": surface,
        "size_source": source,
        "object": named,
        "material": material,
        "other_mm": other,
        "tolerance_mm": tolerance,
        "filling": filling,
        "filling_rel": filling_rel,
        "depth_offset_mm": depth_offset,
        "depth_range_mm": None if depth_range is None else depth_pair(depth_range),
        "depth_preset": depth_preset,
        "tilt_deg": tilt,
        "u_rel": u_rel,
        "overrule": overrule,
    }
    asked = {
        "catheter": catheter,
        "bands": bands,
        "sphere": sphere,
        "grid": grid,
        "step": step,
        "segment": segment,
        "header": header or None,
        "given": given,
    }
    looks = frame_numbers(frame, frames)
    fields = object_fields(asked, u_rel=u_rel)
    fields |= {name: value for name, value in options.items() if value is not None}
    kind = str(fields["kind"])
    fields |= count_fields(kind, count)
    fields |= reading_fields(kind, looks, along=along, at=at, corners=corners)
    opened = open_loop(loop)
    request = parse_request(fields, name="annot scale")
    answer = scale_loop(opened, request, at=place_of(kind, at), frame=looks[0])
    if picture is not None:
        from annot.tasks.picture import scale_picture

        scale_picture(opened, answer, looks[0], picture)
    if json:
        say_json(answer.as_dict())
    else:
        print_scale(loop, answer, picture=picture)
