"""What is given to `changeover` is read before an aircraft is waited for; what cannot be used is said in words."""

from __future__ import annotations

from typing import TYPE_CHECKING

import pytest

from rotorwright.cli.border import run_guarded
from rotorwright.cli.main import app
from rotorwright.firmware.intel_hex import write_intel_hex
from rotorwright.twin.thornbill.images import build_image

if TYPE_CHECKING:
    from pathlib import Path

SETTINGS, IMAGE = 6, 5


@pytest.fixture
def image(tmp_path: Path) -> Path:
    path = tmp_path / "new.hex"
    path.write_bytes(write_intel_hex(build_image("6.0", "C405", size_bytes=36 * 1024)))
    return path


@pytest.mark.parametrize(
    "data",
    [b"", b"\xff\xfe", b'format = "\xff"\n', b'format = "rotorwright-console-dialect"\nversion = 1\nname = "\xff'],
    ids=["nothing", "no text", "no UTF-8", "cut off"],
)
def test_a_dialect_that_cannot_be_used_is_no_defect(
    data: bytes, image: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    path = tmp_path / "dialect.toml"
    path.write_bytes(data)
    given = ["changeover", "--port", str(tmp_path / "port"), "--image", str(image), "--dialect", str(path)]
    assert run_guarded(app, given) == SETTINGS
    assert "console dialect" in capsys.readouterr().err


def test_an_image_that_cannot_be_read_is_said_before_the_port_is_opened(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    path = tmp_path / "new.hex"
    path.write_bytes(b":10000000\n")
    assert run_guarded(app, ["changeover", "--port", str(tmp_path / "port"), "--image", str(path)]) == IMAGE
    assert "new.hex" in capsys.readouterr().err
