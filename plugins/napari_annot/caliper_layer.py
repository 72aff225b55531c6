"""The Shapes layer as a view of the desk: the shown frame's lines, labels beside them."""

from typing import Any

from napari_annot.desk import Desk
from napari_annot.line_pieces import TEXT_POINTS, Colour, pieces_of
from napari_annot.picture_layer import LINES_KEY, loop_of_layer
from napari_annot.screen_state import ScreenState

LAYER_NAME = "Calipers"


class CaliperLayer:
    """Fills one Shapes layer with what the desk shows on this frame; edits go the other way round.

    Line widths, crossbars and labels keep their size on screen whatever the zoom.
    """

    def __init__(self, viewer: Any, desk: Desk) -> None:
        self._viewer, self._desk = viewer, desk
        self._layer: Any = None
        self._drawn: object = None
        self._put_away = False
        self._styles: list[tuple[float, Colour, Colour]] = []
        desk.changed.connect(self.refresh)
        viewer.scene.camera.events.zoom.connect(self._on_zoom)

    def close(self) -> None:
        """Stop following desk and camera, and take the layer out of the viewer."""
        self._desk.changed.disconnect(self.refresh)
        self._viewer.scene.camera.events.zoom.disconnect(self._on_zoom)
        if self._layer is not None and self._layer in self._viewer.layers:
            self._viewer.layers.remove(self._layer)

    @property
    def layer(self) -> Any:
        """The Shapes layer, None before the first loop is shown."""
        return self._layer

    def refresh(self) -> None:
        """Draw what the desk shows, if it is anything else than before."""
        state = self._desk.state()
        loop = self._desk.loop
        if loop is None and (self._layer is None or self._layer not in self._viewer.layers):
            return
        zoom = round(float(self._viewer.scene.camera.zoom), 2) or 1.0
        wanted = (state.shown, state.frame, state.lines, zoom)
        if wanted == self._drawn and self._layer in self._viewer.layers:
            return
        image = (loop.header.rows, loop.header.columns) if loop else (1, 1)
        self._ensure()
        self._fill(state, zoom, image)
        self._drawn = wanted

    def _on_zoom(self) -> None:
        """Keep the size on screen; a layer is made on the desk's word only.

        napari zooms in the middle of adding a picture, when no other layer may be added.
        """
        if self._layer is not None and self._layer in self._viewer.layers:
            self.refresh()

    def _ensure(self) -> None:
        """Have the layer in the viewer, above every picture."""
        layers = self._viewer.layers
        if self._layer is not None and self._layer in layers:
            place = layers.index(self._layer)
            if any(loop_of_layer(one) is not None for one in layers[place + 1 :]):
                layers.move(place, len(layers))
            return
        active = self._viewer.layers.selection.active
        self._layer = self._viewer.add_shapes(
            None,
            ndim=3,
            name=LAYER_NAME,
            opacity=1.0,
            scale=(1.0, 1.0, 1.0),
            axis_labels=("frame", "row", "column"),
            features={"label": []},
            metadata={LINES_KEY: True},
            text={
                "string": "{label}",
                "size": TEXT_POINTS,
                "color": "white",
                "anchor": "center",
            },
        )
        self._layer.mode = "pan_zoom"
        self._layer.editable = False
        self._layer.events.mode.connect(self._refuse_modes)
        if active is not None:
            self._viewer.layers.selection.active = active

    def _refuse_modes(self) -> None:
        """Keep napari's own drawing tools off: what they draw would stand in no read."""
        if self._layer.mode != "pan_zoom":
            self._layer.mode = "pan_zoom"

    def _fill(self, state: ScreenState, zoom: float, image: tuple[int, int]) -> None:
        pieces = pieces_of(state.lines, frame=state.frame, zoom=zoom, image=image)
        layer = self._layer
        if not pieces:
            # emptying an empty layer costs as much as the picture does, on every frame of play
            if layer.nshapes:
                layer.data = []
                layer.features = {"label": []}
            # emptied before it is put away: out of sight it would keep its old extent, and with it
            # the slider the frames of another loop
            self._put(away=True)
            return
        self._put(away=False)
        styles = [(piece.width, piece.edge, piece.face) for piece in pieces]
        with layer.block_thumbnail_update():
            # napari gives new shapes the features of the last one, so all are stated together
            kept = layer.nshapes == len(pieces) and styles == self._styles
            layer.data = [(piece.vertices, piece.kind) for piece in pieces]
            if not kept:  # shapes of the same number keep how they were drawn
                layer.edge_width = [piece.width for piece in pieces]
                layer.edge_color = [piece.edge for piece in pieces]
                layer.face_color = [piece.face for piece in pieces]
            layer.features = {"label": [piece.label for piece in pieces]}
            layer.editable = False
        self._styles = styles

    def _put(self, *, away: bool) -> None:
        """Take an empty layer off the canvas: even empty it costs more per frame than a picture.

        A layer that a person has hidden stays hidden.
        """
        if away and not self._put_away and self._layer.visible:
            self._layer.visible, self._put_away = False, True
        elif not away and self._put_away:
            self._layer.visible, self._put_away = True, False
