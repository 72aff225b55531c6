"""The command line writes what it is asked and says so."""

import subprocess
import sys

import pytest

from synthetic_dicom.cases import CASES
from synthetic_dicom.cli import main


def test_it_writes_the_asked_cases_and_prints_their_paths(tmp_path, capsys):
    arguments = [str(tmp_path / "new"), "--case", "us_grey", "--case", "sc_single", "--frames", "2"]
    assert main(arguments) == 0
    printed = capsys.readouterr().out.splitlines()
    assert printed == [
        str(tmp_path / "new" / "us_grey.dcm"),
        str(tmp_path / "new" / "sc_single.dcm"),
    ]
    assert (tmp_path / "new" / "us_grey.truth.json").exists()


def test_it_writes_every_case_unless_told_otherwise(tmp_path, capsys):
    assert main([str(tmp_path), "--frames", "1"]) == 0
    written = {path.stem for path in tmp_path.glob("*.dcm")}
    assert written == set(CASES)
    assert len(capsys.readouterr().out.splitlines()) == len(CASES)


@pytest.mark.parametrize("wrong", [["--case", "nothing"], ["--seed", "-1"], ["--frames", "0"]])
def test_wrong_usage_is_said_and_exits_with_two(wrong, tmp_path, capsys):
    with pytest.raises(SystemExit) as stopped:
        main([str(tmp_path), *wrong])
    assert stopped.value.code == 2
    assert capsys.readouterr().err


def test_a_folder_that_is_a_file_is_one_line_and_exit_one(tmp_path, capsys):
    blocked = tmp_path / "file"
    blocked.write_text("x", encoding="utf-8")
    assert main([str(blocked), "--case", "us_grey", "--frames", "1"]) == 1
    assert len(capsys.readouterr().err.splitlines()) == 1


def test_it_runs_as_a_module():
    done = subprocess.run(
        [sys.executable, "-m", "synthetic_dicom", "--help"],
        capture_output=True,
        text=True,
        check=True,
    )
    assert "--case" in done.stdout
