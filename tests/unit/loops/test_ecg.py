"""The ECG beside a loop: as an old curve, in the loop's own file, and in a synchronized one."""

from pathlib import Path

import numpy as np
import pydicom
import pytest
from pydicom.data import get_testdata_file
from pydicom.dataset import Dataset, FileMetaDataset
from pydicom.uid import ExplicitVRBigEndian, ExplicitVRLittleEndian, ImplicitVRLittleEndian

from annot.errors import LoopError
from annot.loops import ecg_from_waveform, read_ecg, read_header

CLOCK = "1.2.826.0.1.3680043.10.511.77"
TIMES_S = np.arange(8, dtype=np.float32) / 8  # exact in single precision
VOLTS_MV = np.array([0, 0.25, -0.5, 2, -1, 0, 0.5, 0], dtype=np.float32)
SAMPLES = np.array([[10, -1], [20, -2], [-30, -3], [7, 9]], dtype=np.int16)
TYPES = {0: "u2", 1: "i2", 2: "f4", 3: "f8", 4: "i4"}


def put_curve(path, **changes) -> Path:
    """Add an ECG curve, whose elements are given by their four digits, to a loop."""
    loop = pydicom.dcmread(path)
    big = path_is_big(loop)
    data = np.stack([TIMES_S, VOLTS_MV], axis=1).astype(">f4" if big else "<f4").tobytes()
    said = {
        "0005": ("US", 2),
        "0010": ("US", 8),
        "0020": ("CS", "ECG"),
        "0030": ("SH", ["SEC", "MILV"]),
        "0103": ("US", 2),
        "3000": ("OW", data),
    }
    said |= {name.removeprefix("e"): value for name, value in changes.items()}
    for element, held in said.items():
        if held is not None:
            loop.add_new((0x5002, int(element, 16)), *held)
    loop.save_as(path)
    return path


def path_is_big(loop) -> bool:
    return loop.file_meta.TransferSyntaxUID == ExplicitVRBigEndian


@pytest.fixture
def timed_loop(write_loop):
    def write(**attributes):
        return write_loop(**{"FrameTime": "100", "FrameIncrementPointer": 0x00181063, **attributes})

    return write


@pytest.mark.parametrize(
    "syntax", [ExplicitVRLittleEndian, ImplicitVRLittleEndian, ExplicitVRBigEndian]
)
def test_a_curve_is_read_in_every_byte_order(timed_loop, syntax):
    trace, notes = read_ecg(put_curve(timed_loop(syntax=syntax)))
    np.testing.assert_array_equal(trace.times_ms, TIMES_S * 1000)
    np.testing.assert_array_equal(trace.values, VOLTS_MV)
    assert (trace.unit, trace.source) == ("mV", "Curve 5002")
    assert not trace.values.flags.writeable
    assert not trace.times_ms.flags.writeable
    assert notes == (
        "loop.dcm: A curve's time is not tied to a frame; its zero is taken for the first frame.",
    )


@pytest.mark.parametrize("kind", TYPES)
def test_an_evenly_spaced_axis_is_computed_from_its_start_and_step(timed_loop, kind):
    """A step wider than one word is spread over several, low word first."""
    dtype = np.dtype("<" + TYPES[kind])
    start, step = ([int(word) for word in dtype.type(n).reshape(1).view("<u2")] for n in (3, 40))
    path = put_curve(
        timed_loop(),
        e0030=("SH", ["MILS", "MILV"]),
        e0103=("US", kind),
        e0110=("US", [0, 1]),
        e0112=("US", start),
        e0114=("US", step),
        e3000=("OW", np.arange(8).astype(dtype).tobytes()),
    )
    trace, _ = read_ecg(path)
    np.testing.assert_array_equal(trace.times_ms, 3 + 40 * np.arange(8))
    np.testing.assert_array_equal(trace.values, np.arange(8))


def test_plain_start_and_step_are_taken_as_they_stand(timed_loop):
    path = put_curve(
        timed_loop(),
        e0030=("SH", ["MILS", "MILV"]),
        e0110=("US", [0, 1]),
        e0112=("US", 0),
        e0114=("US", 50),
        e3000=("OW", VOLTS_MV.tobytes()),
    )
    np.testing.assert_array_equal(read_ecg(path)[0].times_ms, 50 * np.arange(8))


@pytest.mark.parametrize(
    ("changes", "words"),
    [
        ({"e0010": ("US", 9)}, "holds 64 bytes where its header asks for 72"),
        ({"e0010": ("US", 7)}, "holds 64 bytes where its header asks for 56"),
        ({"e0010": ("US", 0)}, "has 0 points"),
        ({"e0010": None}, r"lacks attribute \(5002,0010\)"),
        ({"e0103": ("US", 7)}, "of representation 7"),
        ({"e0030": None}, "does not have one axis of time"),
        ({"e0030": ("SH", ["SEC", "SEC"])}, "does not have one axis of time"),
        ({"e0110": ("US", [0, 1, 1])}, "does not describe its 2 axes"),
        ({"e0110": ("US", [0, 0]), "e3000": ("OW", b"")}, "stores no voltages"),
        (
            {
                "e0110": ("US", [0, 1]),
                "e3000": ("OW", VOLTS_MV.tobytes()),
                "e0112": ("US", [1, 2, 3]),
            },
            "gives 3 start or step values for 1 axes",
        ),
        (
            {"e3000": ("OW", np.stack([TIMES_S[::-1], VOLTS_MV], axis=1).tobytes())},
            "does not run forward",
        ),
        (
            {"e3000": ("OW", np.stack([TIMES_S + 9, VOLTS_MV], axis=1).tobytes())},
            "before or after the loop",
        ),
    ],
)
def test_a_curve_that_contradicts_itself_is_told_and_not_used(timed_loop, changes, words):
    path = put_curve(timed_loop(), **changes)
    trace, [note] = read_ecg(path)
    assert trace is None
    assert pytest.raises(LoopError, match=words).matches(LoopError(note))
    assert note.startswith("loop.dcm: ")
    assert note.endswith("; the ECG is not used.")


def test_other_curves_and_plain_loops_have_no_ecg(timed_loop):
    assert read_ecg(timed_loop()) == (None, ())
    assert read_ecg(put_curve(timed_loop(name="b.dcm"), e0020=("CS", "PRESSURE"))) == (None, ())


def channel(meaning="Lead II", unit="mV", **attributes) -> Dataset:
    source, units, one = Dataset(), Dataset(), Dataset()
    source.CodeValue, source.CodingSchemeDesignator, source.CodeMeaning = "2:2", "MDC", meaning
    units.CodeValue, units.CodingSchemeDesignator, units.CodeMeaning = unit, "UCUM", unit
    one.ChannelSourceSequence, one.ChannelSensitivityUnitsSequence = [source], [units]
    one.WaveformBitsStored = 16
    for keyword, value in {"ChannelSensitivity": "0.5", **attributes}.items():
        setattr(one, keyword, value)
    return one


def wave(channels=None, data=SAMPLES, **attributes) -> Dataset:
    group = Dataset()
    group.ChannelDefinitionSequence = channels or [channel(), channel("Lead III")]
    group.NumberOfWaveformChannels = 2
    group.NumberOfWaveformSamples = len(data)
    group.SamplingFrequency = "20"
    group.WaveformBitsAllocated, group.WaveformSampleInterpretation = 16, "SS"
    group.add_new("WaveformData", "OW", data.tobytes())
    for keyword, value in attributes.items():
        if value is None:
            delattr(group, keyword)
        else:
            setattr(group, keyword, value)
    return group


def clock(**changes):
    return {
        "SynchronizationFrameOfReferenceUID": CLOCK,
        "AcquisitionTimeSynchronized": "Y",
        "AcquisitionDateTime": "20010203120000.500",
        **changes,
    }


@pytest.fixture
def write_wave(tmp_path):
    """Give a function that writes a general ECG object without pixels."""

    def write(group, **attributes):
        file = Dataset()
        file.file_meta = FileMetaDataset()
        file.file_meta.TransferSyntaxUID = ExplicitVRLittleEndian
        file.SOPClassUID, file.SOPInstanceUID = "1.2.840.10008.5.1.4.1.1.9.1.2", "1.2.3.4"
        file.WaveformSequence = [group]
        for keyword, value in clock(**attributes).items():
            if value is not None:
                setattr(file, keyword, value)
        file.save_as(tmp_path / "ecg.dcm", enforce_file_format=True)
        return tmp_path / "ecg.dcm"

    return write


def test_a_synchronized_waveform_is_laid_on_the_frames(timed_loop, write_wave):
    lead = channel(
        ChannelSensitivityCorrectionFactor="2",
        ChannelBaseline="0.25",
        ChannelTimeSkew="0.01",
    )
    path = write_wave(
        wave([lead, channel()], MultiplexGroupTimeOffset="30", WaveformPaddingValue=b"\x14\0"),
        AcquisitionDateTime="20010203120000.400",
    )
    loop = read_header(timed_loop(**clock()))
    trace, notes = ecg_from_waveform(path, loop)
    # 400 ms of the clock + 30 ms + 10 ms of skew, seen from 500 ms of the clock, every 50 ms
    np.testing.assert_allclose(trace.times_ms, [-60, -10, 40, 90])
    np.testing.assert_allclose(trace.values, [10.25, np.nan, -29.75, 7.25])
    assert (trace.label, trace.unit, trace.source) == ("Lead II", "mV", "WaveformSequence")
    assert notes == ("ecg.dcm: The ECG covers only part of the loop.",)


@pytest.mark.parametrize(
    ("changes", "words"),
    [
        ({"SynchronizationFrameOfReferenceUID": "1.2"}, "do not share a clock"),
        ({"SynchronizationFrameOfReferenceUID": None}, "do not share a clock"),
        ({"AcquisitionTimeSynchronized": "N"}, "the waveform does not say"),
        ({"AcquisitionTimeSynchronized": None}, "the waveform does not say"),
        ({"AcquisitionDateTime": "20010203120000"}, "to a fraction of a second"),
        ({"AcquisitionDateTime": None}, "to a fraction of a second"),
        ({"TimezoneOffsetFromUTC": "+0100"}, "different time zones"),
        ({"AcquisitionDateTime": "20010203120000.500+0100"}, "only one of two date-times"),
        ({"AcquisitionDateTime": "20010203120001.500"}, "before or after the loop"),
        ({"AcquisitionDateTime": "20010203115959.500"}, "before or after the loop"),
    ],
)
def test_a_waveform_that_is_not_of_this_loop_is_not_used(timed_loop, write_wave, changes, words):
    loop = read_header(timed_loop(**clock()))
    trace, [note] = ecg_from_waveform(write_wave(wave(), **changes), loop)
    assert trace is None
    assert words in note
    assert "2001" not in note


def test_a_loop_without_the_clock_takes_no_waveform(timed_loop, write_wave):
    trace, [note] = ecg_from_waveform(write_wave(wave()), read_header(timed_loop()))
    assert trace is None
    assert "the loop does not say that it was acquired synchronized" in note


@pytest.mark.parametrize(
    ("group", "words"),
    [
        (wave(NumberOfWaveformSamples=5), "holds 16 bytes where its header asks for 20"),
        (wave(NumberOfWaveformSamples=3), "holds 16 bytes where its header asks for 12"),
        (wave(NumberOfWaveformChannels=3), "defines 2 channels where it states 3"),
        (wave(WaveformSampleInterpretation="MB"), "type MB are not read"),
        (wave(WaveformBitsAllocated=8), "differ from its bits"),
        (wave(SamplingFrequency="0"), "no sampling frequency"),
        (wave(SamplingFrequency=None), "no sampling frequency"),
        (
            wave(
                data=SAMPLES.astype("<i4"),
                WaveformBitsAllocated=32,
                WaveformSampleInterpretation="SL",
                WaveformPaddingValue=b"\1\0",
            ),
            "padding value has another type",
        ),
        (wave([channel(ChannelSensitivity="0"), channel()]), "no voltage per step"),
        (
            wave([channel(ChannelTimeSkew="0.5", ChannelSampleSkew="1"), channel()]),
            "two different skews",
        ),
    ],
)
def test_a_waveform_that_contradicts_itself_is_told_and_not_used(
    timed_loop, write_wave, group, words
):
    loop = read_header(timed_loop(**clock()))
    trace, [note] = ecg_from_waveform(write_wave(group), loop)
    assert trace is None
    assert words in note


def test_no_sensitivity_leaves_a_shape_without_a_unit(timed_loop, write_wave):
    lead = channel()
    del lead.ChannelSensitivity
    del lead.ChannelSensitivityUnitsSequence
    trace, notes = ecg_from_waveform(
        write_wave(wave([lead, channel()])), read_header(timed_loop(**clock()))
    )
    np.testing.assert_array_equal(trace.values, SAMPLES[:, 0])
    assert trace.unit == ""
    assert any("have no unit" in one for one in notes)


def test_a_loop_can_carry_a_waveform_itself(timed_loop):
    pressure = channel("Aortic pressure", unit="mm[Hg]")
    group = wave([pressure, channel("ECG lead II", unit="uV")], SamplingFrequency="10")
    trace, notes = read_ecg(timed_loop(WaveformSequence=[group]))
    np.testing.assert_allclose(trace.values, SAMPLES[:, 1] * 0.5)
    np.testing.assert_allclose(trace.times_ms, [0, 100, 200, 300])
    assert (trace.label, trace.unit, notes) == ("ECG lead II", "uV", ())


def test_only_pressures_are_no_ecg(timed_loop):
    pressure = channel("Aortic pressure", unit="mm[Hg]")
    assert read_ecg(timed_loop(WaveformSequence=[wave([pressure, pressure])])) == (None, ())


def test_a_shipped_ecg_has_the_samples_that_pydicom_finds(timed_loop, tmp_path):
    """Oracle: pydicom's own waveform decoding, on the 12-lead recording that its wheel ships."""
    shipped = pydicom.dcmread(get_testdata_file("waveform_ecg.dcm"))
    oracle = shipped.waveform_array(0)
    rate = float(shipped.WaveformSequence[0].SamplingFrequency)
    for keyword, value in clock().items():
        setattr(shipped, keyword, value)
    shipped.save_as(tmp_path / "shipped.dcm")
    trace, notes = ecg_from_waveform(tmp_path / "shipped.dcm", read_header(timed_loop(**clock())))
    np.testing.assert_allclose(trace.values, oracle[:, 0], rtol=1e-12)
    np.testing.assert_allclose(trace.times_ms, np.arange(len(oracle)) * 1000 / rate)
    assert (trace.label, trace.unit, notes) == ("Lead I (Einthoven)", "uV", ())


def test_a_shipped_ecg_is_of_no_loop_unless_it_says_so(timed_loop):
    trace, [note] = ecg_from_waveform(
        get_testdata_file("waveform_ecg.dcm"), read_header(timed_loop(**clock()))
    )
    assert trace is None
    assert "the waveform does not say" in note
