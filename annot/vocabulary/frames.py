"""Which frame of which stored image a number belongs to."""

from dataclasses import dataclass

from annot.errors import InputError


@dataclass(frozen=True, slots=True, kw_only=True)
class FrameReference:
    """One frame of one stored image.

    Attributes
    ----------
    sop_instance_uid
        The image's SOP Instance UID.
    frame
        Frame index, counted from 0.

    Raises
    ------
    InputError
        If `frame` is negative.
    """

    sop_instance_uid: str
    frame: int

    def __post_init__(self) -> None:
        if self.frame < 0:
            raise InputError(f"Frame {self.frame} does not exist: frames are counted from 0.")

    @property
    def dicom_frame(self) -> int:
        """The frame's number as DICOM counts, from 1."""
        return self.frame + 1
