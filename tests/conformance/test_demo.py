"""The demo, as a new user types it: real processes, real bytes over a pseudo-terminal, faults on request."""

from __future__ import annotations

import json
import signal
import subprocess
import sys
from functools import partial
from typing import TYPE_CHECKING, Any

import pytest

if TYPE_CHECKING:
    from pathlib import Path

pytestmark = pytest.mark.pty


def _demo(folder: Path, *arguments: str) -> tuple[int, Any, str]:
    command = [sys.executable, "-m", "rotorwright", "demo", "--json", "--folder", str(folder)]
    done = subprocess.run(
        [
            *command,
            "--baud",
            "0",
            "--speed",
            "200",
            *(arguments if "--bench" in arguments else ("--no-bench", *arguments)),
        ],
        check=False,
        capture_output=True,
        text=True,
        timeout=300,
    )
    return done.returncode, json.loads(done.stdout) if done.stdout else None, done.stderr


def test_the_demo_ends_signed_and_leaves_a_report(tmp_path: Path) -> None:
    code, facts, said = _demo(tmp_path / "demo")
    assert code == 0, said
    assert facts["verdict"] == "signed"
    assert (facts["release_before"], facts["release_after"]) == ("5.2.0", "6.0.0")
    settings = facts["settings"]
    assert settings["found"] == settings["decided"] == 485
    assert settings["held"] > 0
    assert settings["written"] > 0
    assert settings["verified"] > 450
    assert facts["image"]["verified"] is True
    assert facts["image"]["bytes"] > 400 * 1024
    assert facts["image"]["sectors_written"] == 8
    assert facts["faults_survived"] == 0
    report = (tmp_path / "demo" / "report.html").read_text(encoding="utf-8")
    assert "not an airworthiness approval" in report
    assert facts["unique_id"] in report


def test_the_demo_finds_its_turned_board_on_the_bench_repairs_it_and_signs(tmp_path: Path) -> None:
    code, facts, said = _demo(tmp_path / "demo", "--bench")
    assert code == 0, said
    assert facts["verdict"] == "signed"
    assert [one["check"] for one in facts["found"]] == ["orientation"]
    assert facts["repaired"] == {"MOUNT_YAW": "90"}
    assert facts["not_shown"] == []
    assert set(facts["checks"]) >= {"power", "orientation", "receiver", "arming", "failsafe", "motors", "settings"}


def test_the_demo_stops_at_a_motor_that_turns_the_wrong_way(tmp_path: Path) -> None:
    code, facts, said = _demo(tmp_path / "demo", "--bench", "--plant", "motor-direction-reversed")
    assert code == 7, said
    assert facts["error"]["id"] == "bench.check-failed"
    assert "direction-wrong" in facts["error"]["facts"]["kinds"]


@pytest.mark.parametrize(
    "faults",
    [
        ["power-cut@200"],
        ["torn@3"],
        ["after@1768"],
        ["kill@1"],
        ["kill@29"],
        ["kill@49"],
        ["torn@20/settings"],
        ["cable@900000"],
        ["torn@900", "kill@24"],
    ],
    ids=" ".join,
)
def test_the_demo_survives_what_goes_wrong_and_ends_signed(faults: list[str], tmp_path: Path) -> None:
    words = [word for fault in faults for word in ("--fault", fault)]
    code, facts, said = _demo(tmp_path / "demo", *words)
    assert code == 0, said
    assert facts["verdict"] == "signed"
    assert facts["faults_survived"] == len(faults)


@pytest.mark.parametrize(
    "way",
    [
        ["--by-console"],
        ["--without-book"],
        ["--without-book", "--by-console"],
        ["--without-book", "--fault", "kill@40"],
        ["--way", "usb"],
        ["--way", "drive"],
        ["--way", "drive", "--fault", "kill@33"],
    ],
    ids=" ".join,
)
def test_the_demo_ends_signed_by_every_way(way: list[str], tmp_path: Path) -> None:
    code, facts, said = _demo(tmp_path / "demo", *way)
    assert code == 0, said
    assert facts["verdict"] == "signed"
    assert facts["settings"]["found"] == facts["settings"]["decided"] == 485
    assert facts["interruptions"] == 0
    assert facts["faults_survived"] == way.count("--fault")


def test_a_fault_that_never_happens_is_said_and_not_counted(tmp_path: Path) -> None:
    code, facts, said = _demo(tmp_path / "demo", "--fault", "torn@999999")
    assert code == 0
    assert facts["faults_survived"] == 0
    assert "did not happen" in said


def test_a_battery_that_stays_absent_stops_the_demo_with_words(tmp_path: Path) -> None:
    code, facts, said = _demo(tmp_path / "demo", "--fault", "battery-absent")
    assert code == 7
    assert facts["error"]["id"] == "workflow.gate-shut"
    assert "do not fly" in facts["error"]["state"]
    assert "Traceback" not in said


def test_ctrl_c_in_the_middle_of_the_write_says_how_to_go_on(tmp_path: Path) -> None:
    folder = tmp_path / "demo"
    command = [sys.executable, "-m", "rotorwright", "demo", "--folder", str(folder), "--baud", "115200"]
    # Whoever runs the tests in the background has Ctrl-C ignored for all of them, as shells do.
    hears_ctrl_c = partial(signal.signal, signal.SIGINT, signal.SIG_DFL)
    with subprocess.Popen(
        command,
        stdout=subprocess.PIPE,
        stderr=subprocess.STDOUT,
        text=True,
        preexec_fn=hears_ctrl_c,  # noqa: PLW1509 - no threads here, and one call
    ) as demo:
        assert demo.stdout is not None
        said = ""
        for line in demo.stdout:
            said += line
            if line.startswith("write: Enter the bootloader"):
                demo.send_signal(signal.SIGINT)
    assert demo.returncode == 130, said
    assert "Stopped by you" in said
    assert "rotorwright resume" in said
    assert not (folder / "twin" / "port").exists()  # the twin ended with the demo


def test_the_demo_never_writes_into_a_folder_that_holds_something(tmp_path: Path) -> None:
    (tmp_path / "mine.txt").write_text("mine", encoding="utf-8")
    code, facts, _ = _demo(tmp_path)
    assert code == 7
    assert facts["error"]["id"] == "demo.folder"
    assert [path.name for path in tmp_path.iterdir()] == ["mine.txt"]
