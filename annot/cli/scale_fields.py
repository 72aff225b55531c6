"""The options of `annot scale` as the fields of a read file's scale."""

import re
from collections.abc import Mapping, Sequence

import typer

from annot.geometry import PixelPoint

Fields = dict[str, object]
# by the option that names the object: the read file's kind and the field of its figure
KINDS = {
    "catheter": ("catheter", ""),
    "bands": ("markers", "spacing_mm"),
    "sphere": ("sphere", "diameter_mm"),
    "grid": ("grid", "spacing_mm"),
    "step": ("step", "spacing_mm"),
    "segment": ("segment", "length_mm"),
    "header": ("header", ""),
    "given": ("given", "mm_per_px"),
}
TRACE_FIELDS = {
    "catheter": "axis_px",
    "segment": "points_px",
    "markers": "path_px",
    "step": "path_px",
}
MOST_FRAMES = 1000
COUNT_FIELDS = {"markers": "bands", "step": "edges"}


def object_fields(asked: Mapping[str, object], *, u_rel: float | None) -> Fields:
    """Return kind and size of the one object that is named."""
    named = {option: value for option, value in asked.items() if value is not None}
    if len(named) != 1:
        raise typer.BadParameter(f"name exactly one of {', '.join(f'--{one}' for one in KINDS)}")
    [(option, value)] = named.items()
    kind, field = KINDS[option]
    if kind == "given" and u_rel is None:
        raise typer.BadParameter("--given needs its relative standard uncertainty, --u-rel")
    if kind == "catheter":
        return {"kind": kind, **_catheter_size(str(value))}
    return {"kind": kind, field: value} if field else {"kind": kind}


def _catheter_size(text: str) -> Fields:
    match = re.fullmatch(r"\s*([0-9]*\.?[0-9]+)\s*(fr|f|mm)\s*", text, flags=re.IGNORECASE)
    if match is None:
        raise typer.BadParameter(f"a catheter's size is written 6F or 2.0mm, not '{text}'")
    value, unit = float(match[1]), match[2].lower()
    return {"size_mm": value} if unit == "mm" else {"size_fr": value}


def count_fields(kind: str, count: int | None) -> Fields:
    """Return what somebody counted in the field of the kind."""
    if count is None:
        return {}
    if kind not in COUNT_FIELDS:
        raise typer.BadParameter("--count belongs to --bands and --step")
    return {COUNT_FIELDS[kind]: count}


def frame_numbers(frame: int | None, frames: str | None) -> list[int]:
    """Return the frames that are asked for, from 0."""
    if frames is None:
        return [frame or 0]
    match = re.fullmatch(r"(\d+):(\d+)", frames)
    if match is None or frame is not None or int(match[1]) >= int(match[2]):
        raise typer.BadParameter(
            "--frames takes FIRST:AFTER_LAST, for instance 0:8, without --frame"
        )
    first, after_last = int(match[1]), int(match[2])
    if after_last - first > MOST_FRAMES:
        raise typer.BadParameter(
            f"--frames asks for {after_last - first} frames; {MOST_FRAMES} are the most"
        )
    return list(range(first, after_last))


def reading_fields(
    kind: str,
    frames: Sequence[int],
    *,
    along: Sequence[str] | None,
    at: str | None,
    corners: str | None,
) -> Fields:
    """Return the object's traces in the read file's own fields, each in every frame."""
    if kind in {"header", "given"}:
        return {}
    if kind == "sphere":
        numbers = _numbers(at, "--at") if at else []
        if len(numbers) != 3:
            raise typer.BadParameter("--sphere needs --at row,column,radius")
        traces: list[Fields] = [{"centre_px": numbers[:2], "radius_px": numbers[2]}]
    elif kind == "grid":
        traces = [{"corners_px": _pairs(corners, "--grid needs --corners", count=4)}]
    else:
        wanted = f"--{kind if kind != 'markers' else 'bands'} needs --along"
        traces = [{TRACE_FIELDS[kind]: _pairs(one, wanted, count=2)} for one in along or [""]]
    readings = [{"frame": frame, **trace} for frame in frames for trace in traces]
    return readings[0] if len(readings) == 1 else {"readings": readings}


def place_of(kind: str, at: str | None) -> tuple[PixelPoint, ...]:
    """Return the place at which a scale is wanted, where `--at` says one."""
    if at is None or kind == "sphere":
        return ()
    numbers = _numbers(at, "--at")
    if len(numbers) != 2:
        raise typer.BadParameter("--at takes row,column here")
    return (PixelPoint(numbers[0], numbers[1]),)


def _pairs(text: str | None, wanted: str, *, count: int) -> list[list[float]]:
    """Return row and column of each point; at least `count` of them."""
    numbers = _numbers(text, wanted.rsplit(maxsplit=1)[-1]) if text else []
    if len(numbers) < 2 * count or len(numbers) % 2:
        raise typer.BadParameter(f"{wanted} {','.join(['row,column'] * count)}")
    return [numbers[k : k + 2] for k in range(0, len(numbers), 2)]


def _numbers(text: str, option: str) -> list[float]:
    try:
        return [float(part) for part in text.split(",")]
    except ValueError:
        raise typer.BadParameter(
            f"{option} takes numbers with commas between, not '{text}'"
        ) from None
