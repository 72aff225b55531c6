"""The scales of an ultrasound loop's regions: which one holds depends on where a line lies."""

from collections.abc import Sequence
from dataclasses import dataclass, field

from annot.calibration.allowances import ULTRASOUND_REL
from annot.calibration.geometry_key import Region
from annot.calibration.header_error import header_spacing
from annot.calibration.identity import geometry_key, short_hash
from annot.calibration.plausible import spacing_doubts
from annot.calibration.request import HeaderRequest
from annot.calibration.scale import NoScale, PixelScale, pair_of_scales
from annot.calibration.ultrasound_region import RulingRegion, region_for
from annot.geometry import PixelPoint
from annot.loops import LoopHeader


@dataclass(frozen=True, slots=True, kw_only=True)
class RegionScales:
    """An ultrasound loop's header scale: which region rules depends on where a line lies."""

    header: LoopHeader
    request: HeaderRequest
    # hundreds of calipers ask for the same few regions
    _made: dict[Region, PixelScale] = field(
        init=False, repr=False, compare=False, default_factory=dict
    )

    def at(self, points: Sequence[PixelPoint], *, frame: int | None = None) -> PixelScale | NoScale:
        """Return the scale of the region that holds all points, or why none does."""
        del frame  # regions hold for the whole loop (PS3.3 C.8.5.5)
        ruling = region_for(self.header, points)
        if isinstance(ruling, NoScale):
            return ruling
        if ruling.box not in self._made:
            self._made[ruling.box] = self._scale_in(ruling)
        return self._made[ruling.box]

    def _scale_in(self, ruling: RulingRegion) -> PixelScale:
        box, size = ruling.box, ruling.region.mm_per_px
        key = f"header-{short_hash(self.header.sop_instance_uid, self.request, box)}"
        spacing = header_spacing(
            self.header,
            size_mm=size[0],
            key=key,
            allowance=ULTRASOUND_REL,
            made_by="ultrasound",
            u_rel=self.request.u_rel,
        )
        row, column = pair_of_scales(spacing.result, size[1] / size[0])
        return PixelScale(
            key=key,
            kind="header",
            row=row,
            column=column,
            basis=f"ultrasound region of rows {box.min_row} to {box.max_row}",
            geometry=geometry_key(self.header),
            system_id=spacing.system_id,
            region=box,
            overruled=self.request.placing.overrule,
            warnings=(*ruling.warnings, *spacing_doubts(row.value)),
        )
