"""An answer that cannot be written is a sentence and an exit code, never a traceback."""

import os
import subprocess
import sys
from pathlib import Path

import pytest

WORDS = [sys.executable, "-m", "annot.cli", "schema", "table"]
full = pytest.mark.skipif(not Path("/dev/full").exists(), reason="needs the device /dev/full")


def fault_of(**streams):
    done = subprocess.run(WORDS, stderr=subprocess.PIPE, text=True, check=False, **streams)
    assert done.returncode == 1
    return done.stderr


@full
def test_a_full_disc_is_one_sentence():
    with Path("/dev/full").open("w") as stream:
        fault = fault_of(stdout=stream)
    assert fault == "annot: the output cannot be used: No space left on device.\n"


def test_a_closed_output_is_one_sentence():
    fault = fault_of(preexec_fn=lambda: os.close(1))
    assert fault.startswith("annot: standard output is closed")
    assert fault.count("\n") == 1


def test_a_reader_that_has_left_is_no_fault_to_speak_of():
    left, right = os.pipe()
    os.close(left)
    with os.fdopen(right, "w") as stream:
        assert fault_of(stdout=stream) == ""
