"""The X-ray view: distances, angles and pixel spacings that an angiography header states.

Source: PS3.3 C.8.7 (X-Ray Acquisition, XA Positioner) and 10.7.1.1 (which plane a spacing is for).
"""

from dataclasses import dataclass


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
    calibration_image
        Whether an object of known size in the image was used for calibration.
    plane
        ``SINGLE PLANE``, ``BIPLANE A`` or ``BIPLANE B``.
    field_of_view_shape, field_of_view_mm
        Field of view: ``ROUND``, ``RECTANGLE`` or ``HEXAGONAL``, and its dimensions.
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
    calibration_image: bool | None = None
    plane: str | None = None
    field_of_view_shape: str | None = None
    field_of_view_mm: tuple[float, ...] = ()

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
