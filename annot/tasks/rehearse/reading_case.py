"""One case of the reading study: an invented patient measured in X-ray or in echo."""

from dataclasses import dataclass, field, replace
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import TYPE_CHECKING, Literal

import numpy as np

from annot.calibration import HeaderRequest, LoopScale, NoScale, make_scale
from annot.calibration.identity import speed_group
from annot.calibration.request import ObjectRequest
from annot.geometry import PixelPoint
from annot.loops import Loop, open_loop
from annot.measurement import Beam, Caliper, Known, measure_caliper
from annot.reads import parse_request
from annot.tasks.rehearse.echo_reading import DRAWN_ECHO, EchoCase, draw_echo
from annot.tasks.rehearse.edge_finder import found_ends
from annot.tasks.rehearse.scale_answer import scale_or_refusal
from annot.tasks.rehearse.trial import Answered, Trial, trial_of
from annot.tasks.rehearse.xray_reading import DRAWN_XRAY, XrayCase, draw_xray
from annot.vocabulary.measurands import MEASURANDS

if TYPE_CHECKING:
    from synthetic_dicom.truth import CaliperTruth

QUANTITIES = ("ostium_width", "landing_zone_width", "depth")
JITTERED, FOUND = "ends jittered", "ends found"
FOUND_U_PX = {"X-ray": 1.0, "echo": 2.0}
ROUGH_SD_PX = 1.5
PointPx = tuple[float, float]

DRAWN = {
    "patient": "an appendage of its own at a moment of its beat: ostium 23 to 29 mm by 0.70 to "
    "0.84 of that, and the rest as the generator draws it",
    "quantity": "X-ray and echo in turn; in each, ostium width, landing-zone width, depth in turn",
    "ends jittered": "the reader states u = 0.4 to 1.6 px for an end; both coordinates are off by "
    "a Gaussian of that and rounded to whole pixels",
    "ends found": "widths only: each end is sought on the rendered frame from a place 1.5 px off "
    "by a textbook edge finder; stated u of an end 1.0 px in X-ray, 2.0 px in echo; no tilt",
    **DRAWN_XRAY,
    **DRAWN_ECHO,
}


@dataclass(frozen=True, slots=True, kw_only=True)
class _Scaled:
    """A loop with its scale and what else its reader knows of it."""

    loop: Loop
    scale: LoopScale
    known: Known = field(default_factory=Known)

    def answer(self, caliper: Caliper) -> Answered | str:
        """Measure a caliper, or say why it has no millimetre."""
        here = self.scale.at(caliper.points)
        if isinstance(here, NoScale):
            return here.reason
        modality = self.loop.header.modality
        said = measure_caliper(caliper, here, modality=modality, known=self.known).estimate
        return Answered(value=said.value, u=said.u, interval=said.interval)


def run_reading_case(case: int, rng: np.random.Generator) -> tuple[Trial, ...]:
    """Draw, render and measure one patient in one modality; give one measurement per arm."""
    from synthetic_dicom.scene import beating_anatomy

    seed = int(rng.integers(2**31))
    beating = beating_anatomy(seed, (float(rng.uniform(0.0, 900.0)),))
    quantity = QUANTITIES[case // 2 % 3]
    with TemporaryDirectory() as folder:
        if case % 2 == 0:
            xray = draw_xray(beating, quantity, rng)
            return tuple(_xray_trials(case, xray, seed, rng, Path(folder)))
        echo = draw_echo(beating, quantity, rng)
        return tuple(_echo_trials(case, echo, seed, rng, Path(folder)))


def _xray_trials(
    case: int, drawn: XrayCase, seed: int, rng: np.random.Generator, folder: Path
) -> list[Trial]:
    from synthetic_dicom.picture_file import write_xray_picture

    path = write_xray_picture(drawn.frame(seed), drawn.scene.setup, folder / "x.dcm", seed=case)
    loop = open_loop(path)
    request = parse_request(drawn.request(rng), name=f"case {case}")
    assert isinstance(request, ObjectRequest)
    scale = scale_or_refusal(loop, request).scale
    blank = _blank(case, drawn.wanted, "X-ray", object=str(drawn.statement["kind"]))
    tilt = drawn.tilt_deg if drawn.wanted.quantity == "depth" else 0.0
    scaled = _Scaled(loop=loop, scale=scale)
    trials = [_jittered(blank, scaled, drawn.wanted.points_px, tilt, rng)]
    if drawn.wanted.quantity != "depth":
        trials.append(_found(blank, scaled, drawn.wanted.points_px, rng))
    return trials


def _echo_trials(
    case: int, drawn: EchoCase, seed: int, rng: np.random.Generator, folder: Path
) -> list[Trial]:
    from synthetic_dicom.picture_file import write_ultrasound_picture

    looks = drawn.wanted.quantity != "depth"
    frame = drawn.frame(seed) if looks else drawn.blank()
    path = write_ultrasound_picture(frame, drawn.screen, folder / "e.dcm", seed=case)
    loop = open_loop(path)
    beam = Beam(
        apex=PixelPoint(*drawn.apex_px),
        speed_group=speed_group(loop.header),
        source="apex as stated",
    )
    scaled = _Scaled(
        loop=loop, scale=make_scale(loop, HeaderRequest()).scale, known=Known(beam=beam)
    )
    blank = _blank(case, drawn.wanted, "echo", object="header")
    trials = [_jittered(blank, scaled, drawn.seen_px, drawn.tilt_deg, rng)]
    if looks:
        trials.append(_found(blank, scaled, drawn.wanted.points_px, rng))
    return trials


def _blank(case: int, wanted: "CaliperTruth", modality: str, **more: str) -> Trial:
    size = wanted.value_mm
    return Trial(
        case=case,
        arm=JITTERED,
        labels={
            "quantity": wanted.quantity,
            "modality": modality,
            "size": "below 20 mm" if size < 20 else "20 mm and more",
            **more,
        },
        unit="mm",
        true=size,
    )


def _jittered(
    blank: Trial,
    scaled: _Scaled,
    ends: tuple[PointPx, PointPx],
    tilt_deg: float,
    rng: np.random.Generator,
) -> Trial:
    u_end = round(float(rng.uniform(0.4, 1.6)), 2)
    places = np.rint(np.asarray(ends) + rng.normal(0.0, u_end, (2, 2)))
    caliper = _caliper(blank, scaled.loop, places, u_end_px=u_end, tilt_deg=tilt_deg)
    return trial_of(scaled.answer(caliper), blank)


def _found(
    blank: Trial,
    scaled: _Scaled,
    ends: tuple[PointPx, PointPx],
    rng: np.random.Generator,
) -> Trial:
    modality = blank.labels["modality"]
    kind: Literal["shadow", "wall"] = "shadow" if modality == "X-ray" else "wall"
    rough = np.asarray(ends) + rng.normal(0.0, ROUGH_SD_PX, (2, 2))
    found = found_ends(scaled.loop.frame(0), (tuple(rough[0]), tuple(rough[1])), kind=kind)
    named = replace(blank, arm=FOUND)
    if found is None:
        return replace(named, refusal="the study's own finder sees no edge")
    u_end = FOUND_U_PX[modality]
    caliper = _caliper(blank, scaled.loop, np.asarray(found), u_end_px=u_end, tilt_deg=0.0)
    return trial_of(scaled.answer(caliper), named)


def _caliper(
    blank: Trial, loop: Loop, places: np.ndarray, *, u_end_px: float, tilt_deg: float
) -> Caliper:
    return Caliper(
        key=f"case-{blank.case}",
        measurand=MEASURANDS[blank.labels["quantity"]],
        frame=loop.reference(0),
        points=tuple(PixelPoint(float(row), float(column)) for row, column in places),
        u_end_px=u_end_px,
        tilt_deg=tilt_deg,
    )
