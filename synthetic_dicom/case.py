"""A named loop, and what makes each file of it itself."""

from __future__ import annotations

from dataclasses import dataclass

from pydicom.uid import generate_uid

from synthetic_dicom.scene import BeatingAnatomy, beating_anatomy
from synthetic_dicom.ultrasound_view import Screen
from synthetic_dicom.xray_image import XrayScene

XRAY_FRAME_MS = 66.667
ULTRASOUND_FRAME_MS = 33.333


@dataclass(frozen=True, slots=True, kw_only=True)
class Case:
    """A named loop.

    Attributes
    ----------
    name, description : str
        What it is called and what it is for.
    scene : XrayScene or Screen
        What is rendered.
    frames : int
        Length unless asked otherwise.
    with_geometry : bool
        X-ray only: write detector spacing and distances.
    capture : bool
        Store the picture as a screen capture without any scale.
    """

    name: str
    description: str
    scene: XrayScene | Screen
    frames: int
    with_geometry: bool = True
    capture: bool = False

    def modality(self) -> str:
        """Return XA, US, or OT for a screen capture."""
        if self.capture:
            return "OT"
        return "XA" if isinstance(self.scene, XrayScene) else "US"

    def length(self, asked: int | None) -> int:
        """Return the number of frames to render, the case's own unless another is asked.

        Raises
        ------
        ValueError
            If no frame is asked, or several of a single image.
        """
        count = self.frames if asked is None else asked
        if count < 1:
            raise ValueError(f"{self.name}: ask for 1 frame or more, not {count}.")
        if self.frames == 1 and count != 1:
            raise ValueError(f"{self.name} is a single image: ask for 1 frame, not {count}.")
        return count

    def beating(self, *, seed: int, frames: int) -> BeatingAnatomy:
        """Return the appendage of a seed at the times of the case's frames.

        Raises
        ------
        ValueError
            If the seed is negative.
        """
        if seed < 0:
            raise ValueError(f"{self.name}: the seed must be 0 or more, not {seed}.")
        step_ms = XRAY_FRAME_MS if isinstance(self.scene, XrayScene) else ULTRASOUND_FRAME_MS
        times_ms = tuple(round(step_ms * index, 6) for index in range(frames))
        return beating_anatomy(seed, times_ms)


@dataclass(frozen=True, slots=True, kw_only=True)
class Identity:
    """What makes a file itself: the same values always give the same identifiers."""

    case: str
    seed: int
    frames: int
    encoding: str

    def uid(self, role: str) -> str:
        """Return the identifier of a role; the study's depends on the seed alone."""
        own = [] if role == "study" else [self.case, str(self.frames), self.encoding]
        return str(generate_uid(entropy_srcs=["synthetic loop", role, str(self.seed), *own]))
