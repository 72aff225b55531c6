"""Keys by which scales and geometries are recognised again, the same on every machine."""

import hashlib

from annot.calibration.geometry_key import GeometryKey
from annot.loops import LoopHeader


def short_hash(*parts: object) -> str:
    """Return eight hexadecimal digits over the parts' own text."""
    text = "\x1f".join(repr(part) for part in parts)
    return hashlib.sha256(text.encode()).hexdigest()[:8]


def geometry_key(header: LoopHeader, frame: int = 0) -> GeometryKey:
    """Return what must be the same, in another loop or on another frame, for a scale to hold."""
    if header.xray is None:
        return GeometryKey(
            modality=header.modality,
            rows=header.rows,
            columns=header.columns,
            region_sizes_mm=tuple(one.mm_per_px for one in header.regions if one.is_2d_length),
        )
    view = header.xray.at(frame)
    return GeometryKey(
        modality=header.modality,
        rows=header.rows,
        columns=header.columns,
        imager_spacing_mm=view.imager_pixel_spacing_mm,
        source_to_detector_mm=view.source_to_detector_mm,
        source_to_patient_mm=view.source_to_patient_mm,
        angles_deg=(view.primary_deg, view.secondary_deg),
        isocentre_deg=view.isocentre_deg or (),
        plane=view.plane,
        field_of_view_mm=view.field_of_view_mm,
        intensifier_mm=view.intensifier_mm,
    )


def speed_group(header: LoopHeader) -> str:
    """Return whose error of the speed of sound an echo loop carries.

    The machine counts with one speed and the patient's blood and tissue have another: one error
    for all loops of a study on one machine. A header states no speed (PS3.3 has no attribute for
    the one that a machine counts with), so a setting changed within a study cannot be seen. A file
    without a study is its own.
    """
    study = header.study_instance_uid or header.sop_instance_uid
    return f"sound-{short_hash(study, header.system)}"


def pixel_aspect(header: LoopHeader, frame: int = 0) -> float:
    """Return how many times a pixel is as wide as high, as the header has it; 1 if unknown."""
    view = header.xray.at(frame) if header.xray else None
    spacing = view.imager_pixel_spacing_mm or view.pixel_spacing_mm if view else None
    return spacing[1] / spacing[0] if spacing else 1.0
