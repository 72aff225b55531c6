"""A drawn line as the shapes that make it: a dark halo, the line, crossbars, its label."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from annot.geometry import PixelPoint
from napari_annot.label_places import Box, place_label
from napari_annot.screen_state import DrawnLine
from napari_annot.shapes import FloatArray, circle, crossbars, to_vertices

TEXT_POINTS = 8
# all on screen, in screen pixels, whatever the zoom; the letters' size belongs to TEXT_POINTS
MARK_PX, CAPTION_PX = 14.0, 24.0
TICK_PX, LINE_PX, THIN_PX, HALO_PX = 16.0, 2.0, 1.4, 2.4
LETTER_PX, LETTER_LINE_PX, PAD_PX, GAP_PX = 7.9, 18.0, 8.0, 12.0

Colour = tuple[float, float, float, float] | str
HALO: Colour = (0.0, 0.0, 0.0, 0.55)
PAPER: Colour = (0.07, 0.07, 0.09, 0.85)
CLEAR: Colour = (0.0, 0.0, 0.0, 0.0)


@dataclass(frozen=True, slots=True, kw_only=True)
class Piece:
    """One shape: its vertices (frame, row, column), how it is drawn, and the text it bears."""

    vertices: FloatArray
    kind: str
    width: float
    edge: Colour
    face: Colour = CLEAR
    label: str = ""


def pieces_of(
    lines: Sequence[DrawnLine], *, frame: int, zoom: float, image: tuple[int, int]
) -> list[Piece]:
    """Return the shapes that draw lines on a frame, labels above all lines.

    Parameters
    ----------
    zoom : float
        Screen pixels per image pixel.
    image : (int, int)
        Rows and columns, so that labels stay on the picture.
    """
    strokes = [piece for line in lines for piece in _strokes(line, frame, zoom)]
    # the caption stands over the picture's upper edge where the canvas is low
    taken: list[Box] = [(0.0, 0.0, CAPTION_PX / zoom, float(image[1]))]
    labels = []
    for line in lines:
        if line.label:
            box = place_label(
                line.beside or line.points,
                _label_size(line.label, zoom),
                taken,
                [one.points for one in lines],
                image=image,
                gap_px=GAP_PX / zoom,
            )
            taken.append(box)
            labels.append(_label(line, box, frame, zoom))
    return [*strokes, *labels]


def _strokes(line: DrawnLine, frame: int, zoom: float) -> list[Piece]:
    if line.mark:
        return list(_marks(line, frame, zoom))
    width = (THIN_PX if line.thin else LINE_PX * (1.5 if line.selected else 1.0)) / zoom
    paths = [line.points]
    if line.ends:
        paths += crossbars(line.points, TICK_PX / zoom)
    strokes = [
        Piece(vertices=to_vertices(path, frame), kind="path", width=width, edge=line.colour)
        for path in paths
    ]
    if line.thin:
        return strokes
    halo = Piece(vertices=strokes[0].vertices, kind="path", width=width + HALO_PX / zoom, edge=HALO)
    return [halo, *strokes]


def _marks(line: DrawnLine, frame: int, zoom: float) -> Iterator[Piece]:
    """Draw a cross or a ring at each point, of one size on screen whatever the zoom."""
    reach = MARK_PX / 2 / zoom
    for one in line.points:
        if line.mark == "ring":
            rim = PixelPoint(one.row, one.column + reach)
            paths = [circle(one, rim)]
        else:
            paths = [
                (PixelPoint(one.row - reach, one.column), PixelPoint(one.row + reach, one.column)),
                (PixelPoint(one.row, one.column - reach), PixelPoint(one.row, one.column + reach)),
            ]
        for width, edge in ((LINE_PX + HALO_PX, HALO), (LINE_PX, line.colour)):
            for path in paths:
                vertices = to_vertices(path, frame)
                yield Piece(vertices=vertices, kind="path", width=width / zoom, edge=edge)


def _label_size(label: str, zoom: float) -> tuple[float, float]:
    texts = label.split("\n")
    height = LETTER_LINE_PX * len(texts) + PAD_PX
    width = LETTER_PX * max(len(text) for text in texts) + 2 * PAD_PX
    return height / zoom, width / zoom


def _label(line: DrawnLine, box: Box, frame: int, zoom: float) -> Piece:
    top, left, bottom, right = box
    corners = (
        PixelPoint(top, left),
        PixelPoint(top, right),
        PixelPoint(bottom, right),
        PixelPoint(bottom, left),
    )
    return Piece(
        vertices=to_vertices(corners, frame),
        kind="polygon",
        width=(LINE_PX if line.selected else THIN_PX) / zoom,
        edge=line.colour,
        face=PAPER,
        label=line.label,
    )
