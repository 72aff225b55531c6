"""Where labels stand: beside their line, on the picture, not over lines or one another."""

from collections.abc import Sequence
from itertools import pairwise

from annot.geometry import PixelPoint

Box = tuple[float, float, float, float]  # top, left, bottom, right
SAMPLES = 24
MOST_CORNERS = 32


def place_label(
    own: Sequence[PixelPoint],
    size_px: tuple[float, float],
    taken: Sequence[Box],
    lines: Sequence[Sequence[PixelPoint]],
    *,
    image: tuple[int, int],
    gap_px: float,
) -> Box:
    """Return the box in which a label hides least.

    Parameters
    ----------
    own : sequence of PixelPoint
        The line that the label belongs to.
    size_px : (float, float)
        Height and width of the label, in image pixels.
    taken : sequence of boxes
        Labels that stand already.
    lines : sequence of lines
        All lines on the frame, which should stay visible.
    image : (int, int)
        Rows and columns.
    gap_px : float
        Distance from the line's end.

    Notes
    -----
    Candidates are tried in a fixed order and the first of the least cost wins, so a label moves
    only when something better comes up.
    """
    height, width = size_px
    corners = _candidates(own, height, width, gap_px)
    boxes = [_on_image(corner, height, width, image) for corner in corners]
    samples = [point for line in lines for point in _samples(line)]
    # every corner that a hand placed; a fitted outline has too many to be landmarks
    ends = [
        point
        for line in lines
        for point in (line if len(line) <= MOST_CORNERS else (line[0], line[-1]))
    ]
    return min(boxes, key=lambda box: _cost(_grown(box, gap_px / 2), taken, samples, ends))


def _candidates(
    own: Sequence[PixelPoint], height: float, width: float, gap: float
) -> list[tuple[float, float]]:
    right = max(own, key=lambda point: point.column)
    left = min(own, key=lambda point: point.column)
    top = min(own, key=lambda point: point.row)
    bottom = max(own, key=lambda point: point.row)
    return [
        (right.row - height / 2, right.column + gap),
        (left.row - height / 2, left.column - gap - width),
        (bottom.row + gap, bottom.column - width / 2),
        (top.row - gap - height, top.column - width / 2),
        (top.row - gap - height, top.column - width),
        (top.row - gap - height, top.column),
        (bottom.row + gap, bottom.column - width),
        (bottom.row + gap, bottom.column),
        (bottom.row + 2 * gap + height, bottom.column - width / 2),
        (top.row - 2 * gap - 2 * height, top.column - width / 2),
    ]


def _on_image(
    corner: tuple[float, float], height: float, width: float, image: tuple[int, int]
) -> Box:
    top = min(max(corner[0], 0.0), max(image[0] - 1 - height, 0.0))
    left = min(max(corner[1], 0.0), max(image[1] - 1 - width, 0.0))
    return top, left, top + height, left + width


def _grown(box: Box, by: float) -> Box:
    return box[0] - by, box[1] - by, box[2] + by, box[3] + by


def _cost(
    box: Box,
    taken: Sequence[Box],
    samples: Sequence[PixelPoint],
    ends: Sequence[PixelPoint],
) -> float:
    """Return what a box hides: a label is worse to hide than an end, an end than a line."""
    covered = sum(_overlap(box, other) for other in taken)
    area = (box[2] - box[0]) * (box[3] - box[1])
    return 1000 * covered / area + 25 * _inside(box, ends) + _inside(box, samples)


def _inside(box: Box, points: Sequence[PixelPoint]) -> int:
    return sum(box[0] <= one.row <= box[2] and box[1] <= one.column <= box[3] for one in points)


def _overlap(first: Box, second: Box) -> float:
    height = min(first[2], second[2]) - max(first[0], second[0])
    width = min(first[3], second[3]) - max(first[1], second[1])
    return max(height, 0.0) * max(width, 0.0)


def _samples(line: Sequence[PixelPoint]) -> list[PixelPoint]:
    """Return points along a line, its own corners and some in between."""
    each = max(2, SAMPLES // max(len(line) - 1, 1))
    return [
        PixelPoint(
            start.row + share / each * (end.row - start.row),
            start.column + share / each * (end.column - start.column),
        )
        for start, end in pairwise(line)
        for share in range(each + 1)
    ]
