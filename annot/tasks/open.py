"""Open loops: one for reading, many for a list of what lies in a folder."""

from collections.abc import Iterable, Iterator
from dataclasses import asdict, dataclass
from itertools import groupby
from pathlib import Path

from annot.calibration import (
    FrameScales,
    HeaderRequest,
    NoScale,
    PixelScale,
    RegionScales,
    ScaleCandidate,
    candidate_scales,
    device_offers,
    header_scale,
)
from annot.errors import AnnotError, LoopError
from annot.loops import (
    DisplayChoice,
    LookupTable,
    Loop,
    LoopArray,
    LoopHeader,
    ShownLoop,
    Window,
    find_loops,
    is_folder,
    leads_to_loops,
    missing_decoder,
    open_folder,
    read_header,
    short_name,
    stored_range,
)
from annot.loops import open_loop as open_file

__all__ = [
    "DisplayChoice",
    "LookupTable",
    "Loop",
    "LoopArray",
    "LoopHeader",
    "OfferedScale",
    "ShownLoop",
    "Window",
    "leads_to_loops",
    "list_loops",
    "offered_devices",
    "offered_scales",
    "open_loop",
    "open_loops",
    "refuse_unopenable",
    "scale_words",
    "stored_range",
]


@dataclass(frozen=True, slots=True, kw_only=True)
class OfferedScale:
    """One scale, or one pixel spacing that is no scale in the patient.

    Attributes
    ----------
    basis
        Where it comes from.
    row_mm_per_px, column_mm_per_px
        Size of a pixel downwards and to the right.
    u_rel
        Its relative standard uncertainty; ``None`` if it is no scale.
    usable
        Whether lengths in the patient may be taken with it.
    reason
        Why not, or empty.
    """

    basis: str
    row_mm_per_px: float
    column_mm_per_px: float
    u_rel: float | None = None
    usable: bool = True
    reason: str = ""

    def facts(self) -> dict[str, object]:
        """Return it for machines."""
        return asdict(self)


def open_loop(path: Path | str) -> Loop:
    """Open a loop: a file, or a folder or zip archive whose files are the frames of one loop.

    Raises
    ------
    LoopError
        If it is no loop, with the reason.
    """
    return open_folder(path) if is_folder(Path(path)) else open_file(path)


def open_loops(paths: Iterable[Path]) -> tuple[list[Loop], list[str]]:
    """Open every loop below the paths, as `list_loops` lists them.

    Returns
    -------
    tuple
        The loops, and a sentence for everything that does not open.

    Raises
    ------
    LoopError
        If a path does not exist, or a folder, archive or index cannot be listed.
    """
    loops, faults = [], []
    for listed in list_loops(paths):
        try:
            loops.append(listed.opened())
        except AnnotError as fault:
            faults.append(fault.message)
    return loops, faults


def refuse_unopenable(path: Path) -> None:
    """Refuse a path below which no loop opens; the first that does is enough.

    Raises
    ------
    LoopError
        With what is wrong, of several files at fault with the first.
    """
    faults = []
    for listed in list_loops([path]):
        try:
            listed.opened()
        except AnnotError as fault:
            faults.append(fault.message)
        else:
            return
    raise LoopError(faults[0] if faults else f"No DICOM file lies in {path}: name another.")


def offered_scales(header: LoopHeader) -> tuple[OfferedScale, ...]:
    """List every scale or pixel spacing that a header states, those of frame 0 where they vary."""
    moving = header.xray is not None and header.xray.varies
    return tuple(
        _offered(one, place="frame 0: " if moving else "")
        for one in candidate_scales(header)
        if isinstance(one.scale, PixelScale) or one.stated_mm is not None
    )


def offered_devices(header: LoopHeader) -> tuple[str, ...]:
    """Say which objects of known size a header names; none is a scale before it is traced."""
    return tuple(
        f"on offer: {one.kind} of {one.size_mm:.4g} mm ({one.stated}), to be traced"
        for one in device_offers(header)
    )


def _offered(candidate: ScaleCandidate, *, place: str) -> OfferedScale:
    scale = candidate.scale
    if isinstance(scale, PixelScale):
        return OfferedScale(
            basis=f"{place}{candidate.basis}",
            row_mm_per_px=scale.row.value,
            column_mm_per_px=scale.column.value,
            u_rel=scale.u_rel,
        )
    assert candidate.stated_mm is not None  # `offered_scales` leaves out what states no number
    row, column = candidate.stated_mm
    return OfferedScale(
        basis=f"{place}{candidate.basis}",
        row_mm_per_px=row,
        column_mm_per_px=column,
        usable=False,
        reason=scale.reason,
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class ListedLoop:
    """A file with its header, or with the sentence that says why it is no loop.

    A folder whose `files` are the frames of one loop stands for them all, and is `series`.
    """

    path: Path
    header: LoopHeader | None
    fault: str = ""
    files: int = 1
    series: Loop | None = None

    def opened(self) -> Loop:
        """Open it.

        Raises
        ------
        LoopError
            If it is at fault, or cannot be opened.
        """
        if self.header is None:
            raise LoopError(self.fault)
        return self.series or open_file(self.path)

    def facts(self) -> dict[str, object]:
        """Return what a list shows, for machines."""
        if self.header is None:
            return {"file": str(self.path), "fault": self.fault}
        view = self.header.xray
        return {
            "file": str(self.path),
            "files": self.files,
            "modality": self.header.modality,
            "frames": self.header.frames,
            "rows": self.header.rows,
            "columns": self.header.columns,
            "frames_per_second": frames_per_second(self.header),
            "transfer_syntax": self.header.transfer_syntax_name,
            "transfer_syntax_uid": self.header.transfer_syntax_uid,
            "encoding": short_name(self.header.transfer_syntax_uid),
            "cannot_decode": missing_decoder(self.header.transfer_syntax_uid),
            "lossy": self.header.lossy,
            "times_from": self.header.frame_times.source,
            "primary_deg": view.primary_deg if view else None,
            "secondary_deg": view.secondary_deg if view else None,
            "header_scale": scale_words(self.header),
            "scales": [scale.facts() for scale in offered_scales(self.header)],
            "devices": [offer.facts() for offer in device_offers(self.header)],
            "warnings": list(self.header.warnings),
        }


def list_loops(paths: Iterable[Path]) -> Iterator[ListedLoop]:
    """List every loop below the paths, headers only; a file at fault is listed with its fault.

    Folders found below the paths, or named, in an archive too, are listed as one loop where
    `open_loop` opens them as one; files that were named themselves are listed one by one.
    """
    named = list(paths)
    alone = {path for path in named if not is_folder(path)}
    for folder, found in groupby(find_loops(named), key=lambda path: path.parent):
        yield from _listed_folder(folder, found, alone)


def _listed_folder(folder: Path, found: Iterable[Path], alone: set[Path]) -> Iterator[ListedLoop]:
    """List one folder's files as they come, single images of one series held back for the end."""
    held: list[ListedLoop] = []
    for path in found:
        held.append(_listed_file(path))
        if path in alone or not _same_series(held[0], held[-1]):
            yield from held
            held = []
            for later in found:
                yield _listed_file(later)
    if len(held) > 1:
        try:
            loop = open_folder(folder)
        except AnnotError:
            pass  # several loops or stills, then; each is listed with what it says itself
        else:
            if loop.frames == len(held):
                held = [ListedLoop(path=folder, header=loop.header, files=loop.frames, series=loop)]
    yield from held


def _same_series(first: ListedLoop, other: ListedLoop) -> bool:
    """Tell whether two files are single images of one series."""
    if first.header is None or other.header is None:
        return False
    series = {first.header.series_instance_uid, other.header.series_instance_uid}
    return len(series) == 1 and "" not in series and first.header.frames == other.header.frames == 1


def _listed_file(path: Path) -> ListedLoop:
    try:
        return ListedLoop(path=path, header=read_header(path))
    except AnnotError as fault:
        return ListedLoop(path=path, header=None, fault=fault.message)


def frames_per_second(header: LoopHeader) -> float | None:
    """Return the mean rate over the loop, None if the header has no times."""
    times = header.frame_times.times_ms
    if times is None or len(times) < 2 or times[-1] <= times[0]:
        return None
    return 1000.0 * (len(times) - 1) / (times[-1] - times[0])


def scale_words(header: LoopHeader) -> str:
    """Say in words what scale the header offers."""
    scale = header_scale(header, HeaderRequest())
    if isinstance(scale, NoScale):
        return f"none: {scale.reason}"
    if isinstance(scale, FrameScales):
        return _moving_words(scale)
    if isinstance(scale, PixelScale):
        return f"{scale.row.value:.4g} mm/px, {scale.basis}"
    return _region_words(scale)


def _moving_words(scales: FrameScales) -> str:
    first = scales.at((), frame=0)
    if isinstance(first, NoScale):
        return f"none on frame 0: {first.reason}; the geometry changes from frame to frame"
    return f"{first.row.value:.4g} mm/px on frame 0, {first.basis}; changes from frame to frame"


def _region_words(scales: RegionScales) -> str:
    regions = [one for one in scales.header.regions if one.is_2d_length]
    sizes = sorted({one.mm_per_px for one in regions})
    if not sizes:
        return "none: no 2-D region measured in centimetres"
    words = ", ".join(f"{row:.4g} × {column:.4g} mm/px" for row, column in sizes)
    return f"{words}, {len(regions)} ultrasound region(s)"
