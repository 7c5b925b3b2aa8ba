"""A wrong image, a port that may not be opened, a cable without data, a protected chip: what a person reads then."""

from __future__ import annotations

import errno
import json
import re
from typing import TYPE_CHECKING

import pytest
import serial
import typer
from tests.conformance.command_bench import ANSWERS, Bench

from rotorwright.cli.main import app
from rotorwright.firmware.image import Image
from rotorwright.firmware.uf2 import write_uf2
from rotorwright.twin.process import spawn_twin
from rotorwright.twin.thornbill.images import build_image

if TYPE_CHECKING:
    from pathlib import Path

pytestmark = pytest.mark.pty

FOUR_ANSWERS = ("Stopped:", "Why", "Aircraft", "Next")
STM32H7 = 0x6DB6_6082  # microsoft/uf2 utils/uf2families.json 90e9741


def _job(bench: Bench, image: Path) -> tuple[int, str]:
    job = ["changeover", "--port", bench.port, "--image", str(image), "--book", bench.book]
    code, _, err = bench.run(*job, "--airframe", "Sandmartin 5", *bench.hangar, *bench.rates, *bench.answers())
    return code, err


def _all_answers(err: str) -> str:
    """Return what stands under `Next`, after every answer was found; a command that is named there exists."""
    for answer in FOUR_ANSWERS:
        assert answer in err
    todo = " ".join(err[err.rindex("Next") :].split())
    assert set(re.findall(r"rotorwright ([a-z-]+)", todo)) <= set(typer.main.get_command(app).commands)  # type: ignore[attr-defined]
    return todo


def _is_as_before(bench: Bench) -> None:
    after = bench.json("save", "--port", bench.port, "--out", str(bench.folder / "after.json"))
    assert (after["release"], after["count"]) == ("5.2.0", 485)


def test_the_image_of_another_board_is_not_written_and_the_card_says_where_it_stands(bench: Bench) -> None:
    code, err = _job(bench, bench.folder / "images" / "thornbill-6.0-corvane-h7.hex")
    assert code == 5, err
    assert "Corvane" in err
    assert "image" in _all_answers(err).lower()
    (card,) = bench.json("cards", *bench.hangar)
    assert "Nothing was changed on the aircraft" in card["standing"]
    assert card["next"]
    _is_as_before(bench)


def test_a_damaged_image_is_not_written_and_no_aircraft_is_waited_for(bench: Bench) -> None:
    whole = (bench.folder / "images" / "thornbill-6.0-corvane-c405.hex").read_bytes()
    damaged = bench.folder / "damaged.hex"
    damaged.write_bytes(whole[:5000] + (b"0" if whole[5000:5001] != b"0" else b"1") + whole[5001:])
    for code, err in (_job(bench, damaged), bench.run("inspect", str(damaged))[::2]):
        assert code == 5, err
        assert "damaged.hex" in err
        assert _all_answers(err)
    _is_as_before(bench)


def test_inspect_says_that_a_uf2_file_of_another_family_does_not_fit(bench: Bench) -> None:
    image = build_image("6.0", "C405", size_bytes=4096)
    named = bench.folder / "it.uf2"
    named.write_bytes(write_uf2(Image.of([(image.start, image.segments[0].data)]), family=STM32H7).data)
    code, out, _ = bench.run("inspect", str(named), "--book", bench.book, "--board", "Corvane C405")
    assert code == 5
    assert "[!!] uf2-family: The UF2 file says that it is for the family STM32H7" in " ".join(out.split())


def test_a_port_that_may_not_be_opened_names_the_group_to_join(bench: Bench, monkeypatch: pytest.MonkeyPatch) -> None:
    def refuse(*_: object, **__: object) -> None:  # rights do not hold back an administrator, so the border says no
        raise serial.SerialException(errno.EACCES, "Permission denied")

    with monkeypatch.context() as patch:
        patch.setattr(serial, "Serial", refuse)
        code, _, err = bench.run("save", "--port", bench.port, "--out", str(bench.folder / "x.json"))
    assert code == 3, err
    assert "usermod -aG" in _all_answers(err)
    assert not (bench.folder / "x.json").exists()
    _is_as_before(bench)


def test_with_a_cable_that_only_carries_power_the_cable_is_named_first(bench: Bench) -> None:
    code, out, _ = bench.run("ports", "--nothing-came")
    assert code == 0
    assert out.index("1. The cable") < out.index("2. The driver") < out.index("3. The permission")
    assert "carry only power" in " ".join(out.split())


@pytest.mark.parametrize(
    ("protection", "what", "todo"),
    [
        ({"read_out_protected": True}, "read-out protected", "rotorwright unprotect --port"),
        (
            {"write_protected_sectors": [2]},
            "Sector 2 reads back wrong",
            "rotorwright unprotect --port PORT --sectors-only",
        ),
    ],
)
def test_a_protected_chip_is_refused_and_the_card_is_kept(
    bench: Bench, protection: dict[str, object], what: str, todo: str
) -> None:
    bench.twin.stop()
    papers = bench.folder / "twin" / "aircraft.json"
    papers.write_text(json.dumps({**json.loads(papers.read_text(encoding="utf-8")), **protection}), encoding="utf-8")
    with spawn_twin(bench.folder / "twin", baud=0, speed=1000.0) as bench.twin:
        bench.twin.hands.plug_battery()
        code, _, err = bench.changeover(ANSWERS)
        assert code == 4, err
        assert what in " ".join(err.split()), err
        assert todo in _all_answers(err), err
        assert "485 as-found settings are safe" in " ".join(err.split())
        (card,) = bench.json("cards", *bench.hangar)
        assert not card["is_over"]
        assert card["next"]
