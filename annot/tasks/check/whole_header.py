"""What a sweep says of a file whose whole header must be read: enhanced, deflated, and the like."""

from dataclasses import replace

from annot.calibration import NoScale, candidate_scales
from annot.loops import LoopHeader
from annot.loops.header_glance import HeaderGlance
from annot.tasks.check.header_findings import (
    CONTRADICTION,
    NO_SCALE,
    Finding,
    HeaderVerdict,
)


def glance_of(header: LoopHeader, seen: HeaderGlance) -> HeaderGlance:
    """Return what the whole header knows better than a glance at the file."""
    return replace(
        seen,
        sop_class_uid=header.sop_class_uid,
        sop_instance_uid=header.sop_instance_uid,
        modality=header.modality,
        station=seen.station or header.system,
        system=header.system,
        frames=header.frames,
        rows=header.rows,
        columns=header.columns,
    )


def verdict_of_whole(header: LoopHeader) -> HeaderVerdict:
    """Judge a loop by its whole header: its own sentences, and whether it gives a scale."""
    found = [Finding(CONTRADICTION, one.rstrip(".")) for one in header.warnings]
    scales = [one.scale for one in candidate_scales(header)]
    usable = [one for one in scales if not isinstance(one, NoScale)]
    if usable:
        return HeaderVerdict(mm_per_px=usable[0].row.value, findings=tuple(found))
    reasons = [one.reason for one in scales if isinstance(one, NoScale)]
    found.append(Finding(NO_SCALE, reasons[0] if reasons else "the header states no size"))
    return HeaderVerdict(mm_per_px=None, findings=tuple(found))
