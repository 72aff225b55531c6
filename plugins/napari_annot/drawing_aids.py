"""The desk's help with drawing: landmarks, guides, copies, ends moved by half a pixel."""

from dataclasses import replace

from annot.errors import InputError
from annot.geometry import PixelPoint
from annot.measurement import Caliper
from annot.measurement.placed_landmark import PlacedLandmark
from annot.tasks.guides import Guide, landing_guides, rays_from_other_views
from annot.tasks.open import Loop
from annot.tasks.read import rules_of
from annot.vocabulary import FrameReference
from napari_annot import read_edits as edits
from napari_annot.drawing import Draft
from napari_annot.screen_state import Aids
from napari_annot.shapes import clamp
from napari_annot.sheetwork import Sheetwork

STEP_PX = 0.5
COPIED_FROM = "copied from "


class DrawingAids(Sheetwork):
    """Acts that help to draw; what they change is a step that can be undone."""

    aids: Aids
    _guided: tuple[object, tuple[Guide, ...]] | None

    def place_landmark(self, draft: Draft) -> None:
        """Let a landmark stand where it was clicked."""
        name = draft.tool.landmark or ""
        points = draft.points[-draft.most_points :]
        mark = PlacedLandmark(name=name, frame=draft.frame, points=points)
        self.say("")
        self._do(edits.with_landmark(self.read, draft.file, mark))

    def clear_landmarks(self) -> None:
        """Take the landmarks of the frame on show away."""
        self._do(edits.without_landmarks(self.read, self._on_show(), self.frame))

    def help_with(self, aids: Aids) -> None:
        """Show or hide what helps drawing; no part of the read."""
        self.aids = aids
        self.changed.emit()

    def copy_here(self) -> None:
        """Copy the selected caliper to the frame on show, to be moved or confirmed there.

        Raises
        ------
        InputError
            If none is selected, or it lies in another loop or on this very frame.
        """
        file, caliper = self._chosen()
        if file != self.shown:
            raise InputError("A caliper is copied within its own loop: turn to that loop first.")
        if caliper.frame.frame == self.frame:
            raise InputError("Go to the frame that the caliper is to be copied to, then copy it.")
        copied = replace(
            caliper,
            key=edits.free_key(self.read, caliper.measurand.name),
            frame=FrameReference(sop_instance_uid=caliper.frame.sop_instance_uid, frame=self.frame),
            confirmed=False,
            note=f"{COPIED_FROM}{caliper.key}",
        )
        self.selected = copied.key
        self.say("Copied, not confirmed: move its ends to the walls, or confirm it as it is.")
        self._do(edits.with_caliper(self.read, file, copied))

    def other_end(self) -> None:
        """Take the next end of the selected caliper in hand, for the arrows."""
        _, caliper = self._chosen()
        count = len(caliper.points)
        self.aids = replace(self.aids, end=(self.aids.end % count + 1) % count)
        self.changed.emit()

    def nudge(self, down: int, right: int) -> None:
        """Move the end in hand by half pixels, never out of the picture."""
        file, caliper = self._chosen()
        loop = self.loops[file]
        end = self.aids.end % len(caliper.points)
        moved = self._moved(caliper, end, (down * STEP_PX, right * STEP_PX), loop)
        self.aids = replace(self.aids, end=end)
        self.say("")
        self._do(edits.with_caliper(self.read, file, moved))

    def guides(self) -> tuple[Guide, ...]:
        """Return the guides of the frame on show, worked out once for what they follow from."""
        file, loop = self.shown, self.loops.get(self.shown or "")
        if file is None or loop is None or not self.aids.guides:
            return ()
        scale = self._scale_of(file)
        key = (self.read, file, self.frame, id(scale))
        if self._guided is None or self._guided[0] != key:
            part = edits.loop_of(self.read, file)
            rays: tuple[Guide, ...] = ()
            if loop.header.xray is not None:
                rays = rays_from_other_views(self.read.loops, self.loops, file, self.frame)
            found = (*landing_guides(part, scale, self.frame, rules_of(self.read)), *rays)
            self._guided = (key, found)
        return self._guided[1]

    def _moved(self, caliper: Caliper, end: int, by: tuple[float, float], loop: Loop) -> Caliper:
        place = caliper.points[end]
        header = loop.header
        there = clamp(
            PixelPoint(place.row + by[0], place.column + by[1]), header.rows, header.columns
        )
        points = (*caliper.points[:end], there, *caliper.points[end + 1 :])
        # an end moved by hand is a drawn one, whatever it was
        return replace(caliper, points=points, origin="drawn", confirmed=True)
