"""A drawn line as the shapes that make it: a dark halo, the line, and its label on dark paper."""

from dataclasses import dataclass

from annot.geometry import PixelPoint
from napari_annot.shapes import FloatArray, label_corner, to_vertices, with_ticks
from napari_annot.state import DrawnLine

TEXT_POINTS = 8
# all on screen, in screen pixels, whatever the zoom; the letters' size belongs to TEXT_POINTS
TICK_PX, LINE_PX, THIN_PX, HALO_PX = 18.0, 2.0, 1.2, 2.4
LETTER_PX, LETTER_LINE_PX, PAD_PX, GAP_PX = 7.9, 18.0, 8.0, 14.0

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
    line: DrawnLine, *, frame: int, zoom: float, image: tuple[int, int]
) -> tuple[Piece, ...]:
    """Return the shapes that draw a line on a frame.

    Parameters
    ----------
    zoom : float
        Screen pixels per image pixel.
    image : (int, int)
        Rows and columns, so that a label stays on the picture.
    """
    points = with_ticks(line.points, TICK_PX / zoom) if line.ends else line.points
    vertices = to_vertices(points, frame)
    width = (THIN_PX if line.thin else LINE_PX * (1.5 if line.selected else 1.0)) / zoom
    halo = Piece(vertices=vertices, kind="path", width=width + HALO_PX / zoom, edge=HALO)
    stroke = Piece(vertices=vertices, kind="path", width=width, edge=line.colour)
    pieces = (stroke,) if line.thin else (halo, stroke)
    return (*pieces, _label(line, frame, zoom, image)) if line.label else pieces


def _label(line: DrawnLine, frame: int, zoom: float, image: tuple[int, int]) -> Piece:
    texts = line.label.split("\n")
    width = (LETTER_PX * max(len(text) for text in texts) + 2 * PAD_PX) / zoom
    height = (LETTER_LINE_PX * len(texts) + PAD_PX) / zoom
    corner = label_corner(line.points, (height, width), image, GAP_PX / zoom)
    box = (
        corner,
        PixelPoint(corner.row, corner.column + width),
        PixelPoint(corner.row + height, corner.column + width),
        PixelPoint(corner.row + height, corner.column),
    )
    return Piece(
        vertices=to_vertices(box, frame),
        kind="polygon",
        width=(LINE_PX if line.selected else THIN_PX) / zoom,
        edge=line.colour,
        face=PAPER,
        label=line.label,
    )
