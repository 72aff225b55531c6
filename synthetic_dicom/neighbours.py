"""What lies around the appendage in an ultrasound plane: atrium, pulmonary vein, an artery."""

from __future__ import annotations

import numpy as np

from synthetic_dicom.anatomy import Anatomy
from synthetic_dicom.quadrics import Quadric, ellipsoid


def neighbours_of(anatomy: Anatomy) -> tuple[Quadric, ...]:
    """Return blood-filled solids in the anatomy's frame that stand still.

    The upper pulmonary vein runs beside the neck, a ridge of tissue between them; the artery
    crosses on the other side, a little inside the ostium.
    """
    ridge, groove = anatomy.in_frame(100.0), anatomy.in_frame(280.0)
    neck = np.array([0.0, 0.0, 1.0])
    width = 0.5 * float(anatomy.section_axes_mm(0.0)[0])
    vein = ellipsoid(
        (width + 9.5) * ridge + 2.0 * neck,
        np.array([5.5, 9.0, 22.0]),
        np.array([ridge, np.cross(neck, ridge), neck]),
    )
    artery = ellipsoid(
        (width + 4.0) * groove + 5.0 * neck,
        np.array([1.7, 14.0, 1.7]),
        np.array([groove, np.cross(neck, groove), neck]),
    )
    return anatomy.atrium(), vein, artery
