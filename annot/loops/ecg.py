"""Read the ECG of a loop, from its own file or from a synchronized one; never while listing."""

from dataclasses import replace
from pathlib import Path

from pydicom.dataset import Dataset
from pydicom.uid import ExplicitVRBigEndian
from pydicom.valuerep import DT

from annot.errors import LoopError
from annot.loops.attributes import Attributes
from annot.loops.dicom_file import DicomFile, parse_file
from annot.loops.ecg_curve import curve_trace, ecg_groups
from annot.loops.ecg_trace import EcgTrace, lasting
from annot.loops.ecg_waveform import SOURCE, waveform_trace
from annot.loops.functional_groups import FunctionalGroups
from annot.loops.header import LoopHeader
from annot.loops.header_reading import describe
from annot.loops.quiet import captured_warnings
from annot.loops.series_folder import is_folder, marked_files

__all__ = ["EcgTrace", "ecg_from_waveform", "read_ecg"]

Answer = tuple[EcgTrace | None, tuple[str, ...]]


def read_ecg(path: Path | str) -> Answer:
    """Read the ECG that a loop's own file stores.

    Parameters
    ----------
    path
        The loop; its pixels are not read.

    Returns
    -------
    tuple
        The trace, ``None`` if the file stores none or contradicts itself about it; and sentences
        about what was assumed or is wrong.

    Raises
    ------
    LoopError
        If the file is no loop.
    """
    file = parse_file(Path(path))
    header = describe(file)[0]
    return _guarded(file, header, None)


def ecg_from_waveform(path: Path | str, header: LoopHeader) -> Answer:
    """Read the ECG of a loop from a separate waveform file that ran on the same clock.

    Both files have to name one synchronization frame of reference, to have been acquired
    synchronized, and to say when to a fraction of a second (PS3.3 C.7.4.2, Synchronization).

    Parameters
    ----------
    path
        The waveform file.
    header
        The loop's; its file is read again, because a header keeps no dates.

    Returns
    -------
    tuple
        As `read_ecg` does.

    Raises
    ------
    LoopError
        If one of the two is no readable DICOM file.
    """
    return _guarded(parse_file(Path(path)), header, _first_file(header))


def _first_file(header: LoopHeader) -> DicomFile:
    """Parse the loop's file again, of a folder the one with the first frame."""
    if not is_folder(header.path):
        return parse_file(header.path)
    for path in marked_files(header.path):
        file = parse_file(path)
        if file.dataset.get("SOPInstanceUID") == header.sop_instance_uid:
            return file
    raise LoopError(f"{header.path.name} holds its first image no more: open the folder again.")


def _guarded(file: DicomFile, header: LoopHeader, loop: DicomFile | None) -> Answer:
    notes: list[str] = []
    name = file.path.name
    try:
        with captured_warnings():
            trace = _own(file, header, notes) if loop is None else _apart(file, header, loop)
            return _fitted(trace, header, name, notes)
    except LoopError as fault:
        return None, (f"{name}: {fault.message.removesuffix('.')}; the ECG is not used.",)
    except Exception as error:  # noqa: BLE001  the parser meets arbitrary bytes here
        return None, (f"{name}: the ECG cannot be read ({type(error).__name__}) and is not used.",)


def _own(file: DicomFile, header: LoopHeader, notes: list[str]) -> EcgTrace | None:
    big_endian = file.transfer_syntax == ExplicitVRBigEndian
    if SOURCE in file.dataset:
        trace = waveform_trace(file.dataset, big_endian=big_endian)
        if trace is not None:
            first, start = _first_frame(file.dataset, header), _acquired(file.dataset)
            return _shifted(trace, _apart_ms(start, first)) if first and start else trace
    group = next(ecg_groups(file.dataset), None)
    if group is None:
        return None
    notes.append("A curve's time is not tied to a frame; its zero is taken for the first frame.")
    return curve_trace(file.dataset, group, big_endian=big_endian)


def _apart(file: DicomFile, header: LoopHeader, loop: DicomFile) -> EcgTrace:
    """Read a trace of another file, on the loop's time axis."""
    for dataset, what in ((file.dataset, "the waveform"), (loop.dataset, "the loop")):
        if Attributes(dataset, []).text("AcquisitionTimeSynchronized") != "Y":
            raise LoopError(f"{what} does not say that it was acquired synchronized")
    clocks = [
        Attributes(one.dataset, []).text("SynchronizationFrameOfReferenceUID")
        for one in (file, loop)
    ]
    if None in clocks or clocks[0] != clocks[1]:
        raise LoopError("the loop and the waveform do not share a clock")
    zones = [
        Attributes(one.dataset, []).text("TimezoneOffsetFromUTC") or "" for one in (file, loop)
    ]
    start, first = _acquired(file.dataset), _first_frame(loop.dataset, header)
    first = first or _acquired(loop.dataset)
    if start is None or first is None or zones[0] != zones[1]:
        raise LoopError(
            "when the loop or the waveform was acquired is not told to a fraction of a second, or "
            "in different time zones"
        )
    trace = waveform_trace(file.dataset, big_endian=file.transfer_syntax == ExplicitVRBigEndian)
    if trace is None:
        raise LoopError("no channel is an ECG lead in volts")
    return _shifted(trace, _apart_ms(start, first))


def _acquired(dataset: Dataset) -> DT | None:
    said = Attributes(dataset, [])
    stated = said.text("AcquisitionDateTime")
    date, time = said.text("AcquisitionDate"), said.text("AcquisitionTime")
    return _moment(stated or (f"{date}{time}" if date and time else None))


def _first_frame(dataset: Dataset, header: LoopHeader) -> DT | None:
    """Read when the first frame of an enhanced loop was acquired."""
    groups = FunctionalGroups(dataset, frames=header.frames)
    return _moment(groups.values("FrameAcquisitionDateTime")[0])


def _moment(text: object) -> DT | None:
    """Read a date-time; one told to whole seconds would be wrong by more than a heartbeat."""
    stated = str(text or "")
    return DT(stated) if "." in stated else None


def _apart_ms(later: DT, earlier: DT) -> float:
    if (later.tzinfo is None) != (earlier.tzinfo is None):
        raise LoopError("only one of two date-times names its time zone")
    return float((later - earlier).total_seconds()) * 1000.0


def _shifted(trace: EcgTrace, by_ms: float) -> EcgTrace:
    return replace(trace, times_ms=trace.times_ms + by_ms)


def _fitted(trace: EcgTrace | None, header: LoopHeader, name: str, notes: list[str]) -> Answer:
    if trace is None:
        return None, ()
    missing = lasting(trace.times_ms, header.frame_times.times_ms)
    if missing == "none":
        raise LoopError("the ECG was recorded before or after the loop")
    if missing == "part":
        notes.append("The ECG covers only part of the loop.")
    if not trace.unit:
        notes.append("The ECG's voltages have no unit; only its shape means something.")
    trace.times_ms.setflags(write=False)
    trace.values.setflags(write=False)
    return trace, tuple(f"{name}: {note}" for note in notes)
