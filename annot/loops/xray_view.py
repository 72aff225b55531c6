"""The X-ray view: distances, angles and pixel spacings that an angiography header states.

Source: PS3.3 C.8.7 (X-Ray Acquisition, XA Positioner) and 10.7.1.1 (which plane a spacing is for).
"""

from dataclasses import dataclass, field, replace

from annot.loops.frame_vectors import FrameVectors, IsocentreAngles, TablePosition


@dataclass(frozen=True, slots=True, kw_only=True)
class XrayView:
    """What the header says about one X-ray projection; nothing here is corrected or combined.

    Attributes
    ----------
    imager_pixel_spacing_mm
        Pixel spacing at the detector, as (row, column).
    pixel_spacing_mm
        Pixel spacing somewhere in the patient, as (row, column); where depends on
        `calibration_type`.
    calibration_type
        ``GEOMETRY``, ``FIDUCIAL`` or ``None``.
    calibration_description
        Free text of the calibration; it may name people, so keep it out of blinded places.
    source_to_detector_mm, source_to_patient_mm
        Distances from the source; the second usually ends at the isocentre, not at the heart.
    magnification_factor
        Estimated radiographic magnification (source-detector over source-patient).
    primary_deg, secondary_deg
        Positioner angles of the first frame: left anterior oblique and cranial are positive.
    primary_increments_deg, secondary_increments_deg
        Angle increments as stored: one value is the change per frame, more are offsets from the
        first frame's angle.
    detector_primary_deg, detector_secondary_deg
        Beam direction relative to the detector's normal.
    positioner_motion, table_motion
        ``STATIC``, ``DYNAMIC`` or ``None``.
    intensity_relationship
        How a stored value relates to the beam's intensity: ``LIN``, ``LOG``, ``DISP``.
    intensity_sign
        1 where stored values rise with the beam's intensity, -1 where they fall with it.
    calibration_image
        Whether an object of known size in the image was used for calibration.
    plane
        ``SINGLE PLANE``, ``BIPLANE A`` or ``BIPLANE B``.
    field_of_view_shape, field_of_view_mm
        Field of view: ``ROUND``, ``RECTANGLE`` or ``HEXAGONAL``, and its dimensions.
    intensifier_mm
        Diameter of the part of an image intensifier that was used: its zoom.
    object_spacing_mm
        Object Pixel Spacing in Center of Beam: spacing in the object, as (row, column), by the
        stand's own reckoning from table height and beam angle (PS3.3 C.8.19.6.9).
    object_to_table_mm, table_height_mm, beam_angle_deg
        Object above the tabletop, tabletop below the isocentre, beam against the vertical.
    distortion_percent
        Largest geometric distortion of a frame that is not uniform (PS3.3 C.8.19.6.4).
    table_mm
        Position of the tabletop as stored: vertical, longitudinal, lateral.
    isocentre_deg
        The stand's angles in its own system, not the patient's: primary, secondary, and the
        detector's rotation (PS3.3 C.8.19.6.13).
    calibration_frames
        Frames, from 0, in which an enhanced object says that a known object was used to calibrate.
    vectors
        What changes from frame to frame; `at` puts it in place.
    """

    imager_pixel_spacing_mm: tuple[float, float] | None = None
    pixel_spacing_mm: tuple[float, float] | None = None
    calibration_type: str | None = None
    calibration_description: str | None = None
    source_to_detector_mm: float | None = None
    source_to_patient_mm: float | None = None
    magnification_factor: float | None = None
    primary_deg: float | None = None
    secondary_deg: float | None = None
    primary_increments_deg: tuple[float, ...] = ()
    secondary_increments_deg: tuple[float, ...] = ()
    detector_primary_deg: float | None = None
    detector_secondary_deg: float | None = None
    positioner_motion: str | None = None
    table_motion: str | None = None
    intensity_relationship: str | None = None
    intensity_sign: int | None = None
    calibration_image: bool | None = None
    plane: str | None = None
    field_of_view_shape: str | None = None
    field_of_view_mm: tuple[float, ...] = ()
    intensifier_mm: float | None = None
    object_spacing_mm: tuple[float, float] | None = None
    object_to_table_mm: float | None = None
    table_height_mm: float | None = None
    beam_angle_deg: float | None = None
    distortion_percent: float | None = None
    table_mm: TablePosition | None = None
    isocentre_deg: IsocentreAngles | None = None
    calibration_frames: tuple[int, ...] = ()
    vectors: FrameVectors = field(default_factory=FrameVectors)

    @property
    def varies(self) -> bool:
        """Whether the geometry of one frame may differ from another's."""
        return self.vectors != FrameVectors() or self.positioner_motion == "DYNAMIC"

    def at(self, frame: int) -> "XrayView":
        """Return the view of one frame, with that frame's own angles, distances and table.

        Parameters
        ----------
        frame
            Frame index from 0.
        """
        if not self.varies:
            return self
        primary, secondary = self.angles_at(frame)
        return replace(
            self,
            **self.vectors.at(frame),
            primary_deg=primary,
            secondary_deg=secondary,
            primary_increments_deg=(),
            secondary_increments_deg=(),
            positioner_motion="STATIC",
            vectors=FrameVectors(),
        )

    def angles_at(self, frame: int) -> tuple[float | None, float | None]:
        """Positioner angles of one frame.

        Parameters
        ----------
        frame
            Frame index from 0.

        Returns
        -------
        tuple
            Primary and secondary angle in degrees; ``None`` where the header does not say.
        """
        return (
            self._angle_at(frame, self.primary_deg, self.primary_increments_deg),
            self._angle_at(frame, self.secondary_deg, self.secondary_increments_deg),
        )

    def _angle_at(
        self, frame: int, initial_deg: float | None, increments_deg: tuple[float, ...]
    ) -> float | None:
        if initial_deg is None or frame == 0 or self.positioner_motion == "STATIC":
            return initial_deg
        if len(increments_deg) == 1:
            return initial_deg + frame * increments_deg[0]
        if increments_deg:
            return initial_deg + increments_deg[frame] if frame < len(increments_deg) else None
        return None if self.positioner_motion == "DYNAMIC" else initial_deg
