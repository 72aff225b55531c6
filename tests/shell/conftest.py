"""Synthetic loops with known truth, a desk that fits at once, and the pointer without a window."""

import os
from collections.abc import Callable, Iterator
from pathlib import Path

import numpy as np
import pytest
from pydicom import dcmread
from pydicom.dataset import Dataset
from pydicom.sequence import Sequence

# an empty name keeps napari's settings in memory, so that no user's file is read or written
os.environ["NAPARI_CONFIG"] = ""

from annot.errors import AnnotError
from annot.geometry import PixelPoint
from annot.tasks.calibrate import make_scale
from annot.tasks.measure import Measurement
from annot.tasks.open import open_loop
from napari_annot.desk import Desk
from napari_annot.pen import Pen
from napari_annot.scale_entry import ScaleEntry, request_of
from synthetic_dicom import WrittenLoop, write_case

FRAMES = 6
Draw = Callable[..., None]


@pytest.fixture(autouse=True)
def own_key(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("ANNOT_KEY_FILE", str(tmp_path / "pseudonym.key"))


@pytest.fixture(scope="session")
def loops_folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return tmp_path_factory.mktemp("loops")


@pytest.fixture(scope="session")
def xray(loops_folder: Path) -> WrittenLoop:
    return write_case("xa_clean", loops_folder, frames=FRAMES)


@pytest.fixture(scope="session")
def xray_sphere(loops_folder: Path) -> WrittenLoop:
    return write_case("xa_sphere", loops_folder, frames=2)


@pytest.fixture(scope="session")
def echo(loops_folder: Path) -> WrittenLoop:
    return write_case("us_045", loops_folder, frames=3)


@pytest.fixture(scope="session")
def two_regions(loops_folder: Path) -> WrittenLoop:
    return write_case("us_two_regions", loops_folder, frames=2)


@pytest.fixture(scope="session")
def rich(xray: WrittenLoop, loops_folder: Path) -> Path:
    """Write the X-ray loop with all that a file can say about showing it (PS3.3 C.11.2, C.7.6)."""
    dataset = dcmread(xray.path)
    dataset.WindowCenter, dataset.WindowWidth = [600, 1000], [900, 1800]
    dataset.WindowCenterWidthExplanation = ["CONTRAST", "OVERVIEW"]
    dataset.ShutterShape = "CIRCULAR"
    dataset.CenterOfCircularShutter, dataset.RadiusOfCircularShutter = [256, 256], 290
    table = Dataset()
    table.LUTDescriptor, table.LUTExplanation = [256, 0, 8], "CURVE"
    table.add_new("LUTData", "OW", np.arange(256, dtype="<u2").tobytes())
    dataset.VOILUTSequence = Sequence([table])
    mask = Dataset()
    mask.MaskOperation, mask.MaskFrameNumbers, mask.ApplicableFrameRange = "AVG_SUB", [1], [2, 6]
    dataset.MaskSubtractionSequence, dataset.RecommendedViewingMode = Sequence([mask]), "SUB"
    path = loops_folder / "rich.dcm"
    dataset.save_as(path)
    return path


@pytest.fixture
def desk() -> Iterator[Desk]:
    """Give a desk whose fits are done at once, in the same thread."""
    made = Desk()

    def fit(file: str, request: object) -> None:
        try:
            answer = make_scale(made.loops[file], request)
        except AnnotError as fault:
            answer = fault
        made.take_answer(file, request, answer)

    def answer(wanted: list[Measurement]) -> None:
        for one in wanted:
            assert one.estimate
        made.take_answers()

    made.fit_wanted.connect(fit)
    made.answers_wanted.connect(answer)
    yield made
    made.fit_wanted.disconnect()
    made.answers_wanted.disconnect()


@pytest.fixture
def on_xray(desk: Desk, xray: WrittenLoop) -> Desk:
    desk.show(desk.add(open_loop(xray.path)))
    return desk


@pytest.fixture
def draw() -> Draw:
    """Draw with a tool: one drag between two points."""

    def drag(desk: Desk, tool: object, points: tuple[tuple[float, float], ...]) -> None:
        pen = Pen(desk)
        start, end = PixelPoint(*points[0]), PixelPoint(*points[-1])
        desk.arm(tool)
        assert pen.press(start, reach_px=5)
        pen.drag(start, end)
        pen.release(end, travelled=True)

    return drag


@pytest.fixture
def catheter_entry() -> ScaleEntry:
    """State the synthetic catheter: 2.00 mm outside, 1.40 mm inside, at the anatomy's depth."""
    return ScaleEntry(size=2.0, tolerance_mm=0.03, other_mm=1.4, depth_offset_mm=10.0)


@pytest.fixture
def scale_xray(draw: Draw, xray: WrittenLoop, catheter_entry: ScaleEntry) -> Callable[[Desk], None]:
    """Trace the catheter by hand, a little off its axis, and ask for the scale."""

    def scale(desk: Desk) -> None:
        from napari_annot.tools import OBJECT_TOOLS

        axis = xray.truth.objects[0].axis_px
        start, end = ((row + 1.5, column - 1.0) for row, column in axis)
        draw(desk, OBJECT_TOOLS["catheter"], (start, end))
        desk.ask_scale(request_of(catheter_entry, desk.traces[desk.shown]))

    return scale
