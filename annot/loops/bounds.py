"""What a person marks must lie on the loop: the one check for objects and calipers alike."""

from collections.abc import Sequence

from annot.errors import InputError
from annot.geometry import PixelPoint
from annot.loops.header import LoopHeader


def refuse_outside(
    header: LoopHeader, frame: int, points: Sequence[PixelPoint], *, what: str
) -> None:
    """Refuse a mark on a frame or at a place that the loop does not have.

    Parameters
    ----------
    header : LoopHeader
    frame : int
        Frame index from 0.
    points : sequence of PixelPoint
    what : str
        What was marked, as a sentence names it: "caliper a1", "the reference object".

    Raises
    ------
    InputError
        One sentence that names the file, the frame, the mark and the place.
    """
    name = header.path.name
    if not 0 <= frame < header.frames:
        raise InputError(
            f"{name}: {what} is marked on frame {frame}, but the loop has frames 0 to "
            f"{header.frames - 1}."
        )
    for point in points:
        if not point.is_inside(header.rows, header.columns):
            raise InputError(
                f"{name}, frame {frame}: {what} has a point at row {point.row:g}, column "
                f"{point.column:g}, which lies outside the image of {header.rows} rows and "
                f"{header.columns} columns."
            )
