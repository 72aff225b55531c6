"""Open loops: one for reading, many for a list of what lies in a folder."""

from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from pathlib import Path

from annot.calibration import HeaderRequest, NoScale, PixelScale, RegionScales, header_scale
from annot.errors import AnnotError
from annot.loops import Loop, LoopArray, LoopHeader, find_loops, open_loop, read_header

__all__ = ["Loop", "LoopArray", "LoopHeader", "list_loops", "open_loop", "scale_words"]


@dataclass(frozen=True, slots=True, kw_only=True)
class ListedLoop:
    """A file with its header, or with the sentence that says why it is no loop."""

    path: Path
    header: LoopHeader | None
    fault: str = ""

    def facts(self) -> dict[str, object]:
        """Return what a list shows, for machines."""
        if self.header is None:
            return {"file": str(self.path), "fault": self.fault}
        view = self.header.xray
        return {
            "file": str(self.path),
            "modality": self.header.modality,
            "frames": self.header.frames,
            "rows": self.header.rows,
            "columns": self.header.columns,
            "frames_per_second": frames_per_second(self.header),
            "transfer_syntax": self.header.transfer_syntax_name,
            "primary_deg": view.primary_deg if view else None,
            "secondary_deg": view.secondary_deg if view else None,
            "header_scale": scale_words(self.header),
            "warnings": list(self.header.warnings),
        }


def list_loops(paths: Iterable[Path]) -> Iterator[ListedLoop]:
    """List every loop below the paths, headers only; a file at fault is listed with its fault."""
    for path in find_loops(paths):
        try:
            yield ListedLoop(path=path, header=read_header(path))
        except AnnotError as fault:
            yield ListedLoop(path=path, header=None, fault=fault.message)


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
    if isinstance(scale, PixelScale):
        return f"{scale.row.value:.4g} mm/px, {scale.basis}"
    return _region_words(scale)


def _region_words(scales: RegionScales) -> str:
    regions = [one for one in scales.header.regions if one.is_2d_length]
    sizes = sorted({one.mm_per_px for one in regions})
    if not sizes:
        return "none: no 2-D region measured in centimetres"
    words = ", ".join(f"{row:.4g} × {column:.4g} mm/px" for row, column in sizes)
    return f"{words}, {len(regions)} ultrasound region(s)"
