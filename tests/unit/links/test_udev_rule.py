"""The rule for Linux: its grammar, and that it never overwrites what somebody else wrote."""

from __future__ import annotations

import os
import re
import shutil
import subprocess
from pathlib import Path

import pytest

from rotorwright.links.udev_rule import (
    RULE_FILE,
    RULE_TEXT,
    Installed,
    UdevRuleError,
    UdevRuleOtherContentError,
    UdevRuleRightError,
    install_rule,
)

# Keys and operators of man page udev(7) that a rule may need; a rule is matches and assignments, commas between.
MATCH_KEYS = {"ACTION", "KERNEL", "SUBSYSTEM", "SUBSYSTEMS", "ENV", "ATTR", "ATTRS", "TAG", "TAGS"}
ASSIGNMENTS = {"TAG": {"+=", "-=", "=", ":="}, "GOTO": {"="}, "LABEL": {"="}}
_PART = re.compile(r'([A-Z]+)(?:\{([A-Za-z0-9_]+)\})?(==|!=|\+=|-=|:=|=)"([^"]*)"')


def _grammar_faults(text: str) -> list[str]:
    """Return what is wrong with a text of rules; lines may not go on over a backslash here."""
    faults: list[str] = []
    labels, jumps = set[str](), set[str]()
    for line in (line.strip() for line in text.splitlines()):
        if not line or line.startswith("#"):
            continue
        parts = [part.strip() for part in re.split(r",(?=(?:[^\"]*\"[^\"]*\")*[^\"]*$)", line)]
        for part in parts:
            found = _PART.fullmatch(part)
            if found is None:
                faults.append(f"no key, operator and value: {part}")
                continue
            key, inner, operator, value = found.groups()
            if operator in {"==", "!="}:
                faults += [] if key in MATCH_KEYS else [f"no key to match: {part}"]
            elif operator not in ASSIGNMENTS.get(key, set()):
                faults.append(f"no key to assign so: {part}")
            if (inner is not None) != (key in {"ENV", "ATTR", "ATTRS"}):
                faults.append(f"braces missing or too many: {part}")
            labels |= {value} if key == "LABEL" else set()
            jumps |= {value} if key == "GOTO" else set()
    return faults + [f"jump to nowhere: {jump}" for jump in sorted(jumps - labels)]


def test_the_rule_keeps_to_the_grammar() -> None:
    assert _grammar_faults(RULE_TEXT) == []
    assert RULE_TEXT.endswith("\n")


@pytest.mark.parametrize(
    "broken",
    [
        RULE_TEXT.replace('LABEL="rotorwright_end"', ""),
        RULE_TEXT.replace('TAG+="uaccess"', 'TAG+="uaccess'),
        RULE_TEXT.replace('SUBSYSTEM=="tty"', 'SUBSYSTEM="tty"'),
        RULE_TEXT.replace("ENV{DEVTYPE}", "ENV"),
        RULE_TEXT.replace("SUBSYSTEMS", "SUBSYSTEMZ"),
        RULE_TEXT.replace(', TAG+="uaccess"', ' TAG+="uaccess"', 1),
    ],
)
def test_the_check_of_the_grammar_sees_each_kind_of_fault(broken: str) -> None:
    assert broken != RULE_TEXT
    assert _grammar_faults(broken)


def test_the_system_s_own_check_takes_the_rule(tmp_path: Path) -> None:
    udevadm = shutil.which("udevadm")
    if udevadm is None or subprocess.run([udevadm, "verify", "--help"], capture_output=True, check=False).returncode:
        pytest.skip("this system's udevadm has no verify (it came with systemd 254)")
    file = tmp_path / RULE_FILE.name
    file.write_text(RULE_TEXT)
    assert subprocess.run([udevadm, "verify", str(file)], capture_output=True, check=False).returncode == 0


def test_the_tag_is_set_before_the_system_s_rule_that_reads_it() -> None:
    assert RULE_FILE.name < "73-seat-late.rules"
    rules = [line for line in RULE_TEXT.splitlines() if "TAG" in line]
    assert len(rules) == 2
    assert all(line.endswith('TAG+="uaccess"') for line in rules)
    assert "GROUP" not in RULE_TEXT
    assert "MODE" not in RULE_TEXT


def test_the_rule_is_written_whole_and_readable_for_all(tmp_path: Path) -> None:
    file = tmp_path / "70-rotorwright.rules"
    before = os.umask(0o077)
    try:
        assert install_rule(file, system="linux", is_root=True) is Installed.WRITTEN
    finally:
        os.umask(before)
    assert file.read_text() == RULE_TEXT
    assert file.stat().st_mode & 0o777 == 0o644
    assert [one.name for one in tmp_path.iterdir()] == [file.name]


def test_a_second_install_changes_nothing_and_needs_no_right(tmp_path: Path) -> None:
    file = tmp_path / "70-rotorwright.rules"
    install_rule(file, system="linux", is_root=True)
    before = file.stat().st_mtime_ns
    assert install_rule(file, system="linux", is_root=False) is Installed.WAS_THERE
    assert file.stat().st_mtime_ns == before


def test_without_root_nothing_is_written_and_the_way_is_said(tmp_path: Path) -> None:
    with pytest.raises(UdevRuleRightError) as caught:
        install_rule(tmp_path / "x.rules", system="linux", is_root=False)
    assert list(tmp_path.iterdir()) == []
    assert "sudo rotorwright udev-rule --install" in caught.value.todo


@pytest.mark.parametrize("is_root", [True, False])
def test_a_file_that_says_something_else_is_left_as_it_is(tmp_path: Path, *, is_root: bool) -> None:
    file = tmp_path / "x.rules"
    file.write_text("# mine\n")
    with pytest.raises(UdevRuleOtherContentError, match="says something else"):
        install_rule(file, system="linux", is_root=is_root)
    assert file.read_text() == "# mine\n"


def test_a_link_to_nowhere_of_that_name_is_left_as_it_is(tmp_path: Path) -> None:
    file = tmp_path / "x.rules"
    file.symlink_to(tmp_path / "elsewhere")
    with pytest.raises(UdevRuleOtherContentError):
        install_rule(file, system="linux", is_root=True)
    assert not (tmp_path / "elsewhere").exists()


def test_a_file_that_comes_meanwhile_is_not_overwritten(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    file = tmp_path / "x.rules"

    def comes_first(self: Path, target: Path) -> None:
        self.write_text("# somebody else's")
        raise FileExistsError

    monkeypatch.setattr(Path, "hardlink_to", comes_first)
    with pytest.raises(UdevRuleOtherContentError):
        install_rule(file, system="linux", is_root=True)
    assert file.read_text() == "# somebody else's"


def test_a_full_disk_is_told_and_leaves_no_draft(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    def full(_number: int) -> None:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr("os.fsync", full)
    with pytest.raises(UdevRuleError, match="No space left on device"):
        install_rule(tmp_path / "x.rules", system="linux", is_root=True)
    assert list(tmp_path.iterdir()) == []


@pytest.mark.parametrize("system", ["win32", "darwin"])
def test_other_systems_have_no_such_rules(tmp_path: Path, system: str) -> None:
    with pytest.raises(UdevRuleError, match="cannot be put in place here"):
        install_rule(tmp_path / "x.rules", system=system, is_root=True)
