"""Table entries of one read: X-ray under a catheter, echo under its header, one without scale."""

import pytest

from annot.calibration import HeaderRequest, NoScale, header_scale
from annot.exports import TableEntry
from annot.geometry import PixelPoint
from annot.measurement import measure_caliper
from annot.reads import Conditions, LoopRead, Read, ViewOverride
from annot.vocabulary import MEASURANDS, FrameReference
from tests.strategies import caliper, catheter_scale, echo_header, header, region


def entry_of(one, scale, its_header, *, loop=None, read=None, known=None) -> TableEntry:
    loop = loop or LoopRead(file=its_header.path.name)
    return TableEntry(
        measurement=measure_caliper(one, scale, modality=its_header.modality, known=known),
        header=its_header,
        read=read or Read(reader="A", study="S01", loops=(loop,)),
        loop=loop,
        study="S01",
    )


@pytest.fixture
def xray_entry() -> TableEntry:
    return entry_of(caliper(u_end_px=0.8), catheter_scale(), header())


@pytest.fixture
def echo_entry() -> TableEntry:
    its_header = echo_header(region())
    one = caliper(
        key="os1",
        measurand=MEASURANDS["ostium_width"],
        frame=FrameReference(sop_instance_uid=its_header.sop_instance_uid, frame=7),
        points=(PixelPoint(100.0, 150.0), PixelPoint(120.0, 200.0)),
        tilt_deg=15.0,
    )
    scale = header_scale(its_header, HeaderRequest()).at(one.points)
    loop = LoopRead(
        file="sub/us.dcm",
        conditions=Conditions(loading="12 mmHg", rhythm="sinus"),
        view=ViewOverride(plane_deg=45.0),
    )
    return entry_of(one, scale, its_header, loop=loop)


@pytest.fixture
def unscaled_entry() -> TableEntry:
    return entry_of(
        caliper(key="px1", confirmed=False), NoScale(reason="the read states no scale"), header()
    )


@pytest.fixture
def entries(xray_entry, echo_entry, unscaled_entry) -> list[TableEntry]:
    return [xray_entry, echo_entry, unscaled_entry]
