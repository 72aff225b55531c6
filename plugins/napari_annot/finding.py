"""What follows from a read, worked out off the screen thread once the read has come to rest."""

from collections import Counter
from concurrent.futures import Future, ThreadPoolExecutor
from pathlib import Path
from typing import Any

from qtpy.QtCore import QObject, QTimer, Signal

from annot.calibration import LoopScale
from annot.errors import AnnotError
from annot.measurement import Caliper
from annot.tasks.findings import Findings, findings_of
from annot.tasks.measure import Measurement, measure_live
from annot.tasks.open import Loop
from annot.tasks.read import Read
from napari_annot.desk import Desk
from napari_annot.read_edits import renamed

REST_MS = 300


class Finder(QObject):
    """Follows the desk; an answer to a read that is another one by now is replaced by the next."""

    done = Signal(object, object)

    def __init__(self, desk: Desk) -> None:
        super().__init__()
        self._desk = desk
        self._threads = ThreadPoolExecutor(max_workers=1, thread_name_prefix="findings")
        self._waiting: Future[Findings] | None = None
        self._asked: tuple[object, ...] | None = None
        self._memory = Memory()
        self._rest = QTimer()
        self._rest.setSingleShot(True)
        self._rest.setInterval(REST_MS)
        self._rest.timeout.connect(self._start)
        self.done.connect(self._hand_over)
        desk.changed.connect(self._follow)

    @property
    def busy(self) -> bool:
        """Whether an answer is still to come."""
        return self._rest.isActive() or (self._waiting is not None and not self._waiting.done())

    def close(self) -> None:
        """Give up what has not begun and wait for what has."""
        self._rest.stop()
        self._desk.changed.disconnect(self._follow)
        self.done.disconnect(self._hand_over)
        self._threads.shutdown(wait=True, cancel_futures=True)

    def _follow(self) -> None:
        """Wait for a rest if what the findings follow from is another one now."""
        desk = self._desk
        if desk.draft is not None:
            return
        scales = {file: desk.standings[file].scale for file in desk.loops}
        key = (desk.read, tuple(map(id, scales.values())), desk.chart, desk.read.rules)
        if key == self._asked:
            return
        if any(desk.standings[file].state == "fitting" for file in desk.loops):
            return
        self._asked = key
        desk.findings_current = False
        self._rest.start()

    def _start(self) -> None:
        desk = self._desk
        if self._waiting is not None:
            self._waiting.cancel()
        read = desk.read
        name = short_names(read)
        work = _Work(
            read=read,
            named=renamed(read, lambda file: name.get(file, file)),
            loops={name[file]: desk.loops[file] for file in name},
            scales={name[file]: desk.standings[file].scale for file in name},
        )
        self._waiting = self._threads.submit(work.done, desk, self._memory)
        self._waiting.add_done_callback(self._finished)

    def _finished(self, future: Future[Findings]) -> None:
        """Send the answer to the screen's thread (runs in the finder's thread)."""
        if future.cancelled():
            return
        fault = future.exception()
        if fault is None:
            self.done.emit(future.result(), "")
            return
        words = (
            fault.message if isinstance(fault, AnnotError) else f"{type(fault).__name__}: {fault}"
        )
        self.done.emit(None, f"What follows from the read cannot be worked out: {words}")

    def _hand_over(self, findings: Findings | None, fault: str) -> None:
        self._desk.findings_current = not self._rest.isActive()
        if fault:
            self._desk.say(fault, fault=True)
        if findings is not None:
            self._desk.findings = findings
        self._desk.changed.emit()


class _Work:
    """What one answer is worked out from, taken when the read came to rest."""

    def __init__(
        self,
        *,
        read: Read,
        named: Read,
        loops: dict[str, Loop],
        scales: dict[str, LoopScale],
    ) -> None:
        self._read, self._named, self._loops, self._scales = read, named, loops, scales

    def done(self, desk: Desk, memory: "Memory") -> Findings:
        """Work it out (runs in the finder's thread)."""
        return findings_of(
            self._named,
            self._loops,
            self._scales,
            beams=desk.beams,
            chart=desk.chart,
            measure=memory.measure,
        )


class Memory:
    """Measurements by caliper, kept as long as nothing that they were made from changes.

    An answer that only a simulation can give takes up to a second: it is worked out once.
    """

    def __init__(self) -> None:
        self._kept: dict[str, tuple[tuple[Any, ...], tuple[Measurement, ...]]] = {}

    def measure(
        self, caliper: Caliper, scale: LoopScale, header: Any, *, known: Any = None
    ) -> tuple[Measurement, ...]:
        """Measure a caliper, or return what it gave before."""
        kept = self._kept.get(caliper.key)
        if kept is not None:
            was, measured = kept
            same = was[0] == caliper and was[1] is scale and was[2] is header and was[3] == known
            if same:
                return measured
        made = measure_live(caliper, scale, header, known=known)
        self._kept[caliper.key] = ((caliper, scale, header, known), made)
        return made


def short_names(read: Read) -> dict[str, str]:
    """Return a name for each loop's file: the file's own, with its folder where two are alike."""
    names = Counter(Path(one.file).name for one in read.loops)
    return {
        one.file: Path(one.file).name
        if names[Path(one.file).name] == 1
        else "/".join(Path(one.file).parts[-2:])
        for one in read.loops
    }
