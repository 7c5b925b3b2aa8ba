"""`compare-flights`: the verdict of each axis in words, as JSON and as a page, and an exit code for scripts."""

from __future__ import annotations

import json
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from scipy.signal import lfilter

from rotorwright.cli.border import run_guarded
from rotorwright.cli.main import app
from rotorwright.hangar.recordings import write_recording_csv, write_recording_parquet
from rotorwright.report.flights_html import FlightSide, quantity_cells, render_flights
from rotorwright.signals.changes import AxisComparison, Change, Family, FlightComparison, Quantity
from rotorwright.signals.flight import Flight

RATE_HZ = 1000.0


def flown(seed: int, *, noise: float = 0.5, seconds: float = 30.0) -> Flight:
    random = np.random.default_rng(seed)
    rows = int(seconds * RATE_HZ)
    at_s = np.arange(float(rows)) / RATE_HZ
    keep, slow = np.exp(-1 / (RATE_HZ * 0.02)), np.exp(-1 / (RATE_HZ * 0.2))
    wanted = lfilter([1 - slow], [1, -slow], 40 * random.standard_normal((rows, 3)), axis=0)
    rate = lfilter([1 - keep], [1, -keep], wanted, axis=0) + noise * random.standard_normal((rows, 3))
    throttle = 0.4 + 0.15 * np.sin(2 * np.pi * 0.1 * at_s)
    motors = np.clip(throttle[:, None] + 0.03 * random.standard_normal((rows, 4)), 0, 1)
    return Flight(at_s, rate, wanted, None, throttle, motors)


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    found = tmp_path_factory.mktemp("flights")
    write_recording_parquet(found / "monday.parquet", flown(1))
    write_recording_csv(found / "friday.csv", flown(2))
    write_recording_parquet(found / "noisy.parquet", flown(3, noise=1.0))
    write_recording_csv(found / "short.csv", flown(4, seconds=2.0))
    return found


def run(capsys: pytest.CaptureFixture[str], *words: object) -> tuple[int, str, str]:
    code = run_guarded(app, ["compare-flights", *map(str, words)])
    said = capsys.readouterr()
    assert "Traceback" not in said.out + said.err
    return code, said.out, said.err


def test_two_like_flights_end_with_0_and_a_verdict_for_each_axis(
    folder: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    code, out, _ = run(capsys, folder / "monday.parquet", folder / "friday.csv")
    assert code == 0
    for axis in ("roll", "pitch", "yaw", "motors"):
        assert f"[==] {axis}: same." in out
    assert out.rstrip().endswith("Together: same.")
    assert "rate_roll_rad_s, rate_pitch_rad_s, rate_yaw_rad_s are taken for the rate roll, pitch, yaw, in rad/s" in out
    assert "deg/s" in out


def test_a_noisier_flight_ends_with_1_and_says_worse(folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
    code, out, _ = run(capsys, folder / "monday.parquet", folder / "noisy.parquet")
    assert code == 1
    assert "[!!] yaw: worse." in out
    assert "Together: worse." in out


def test_the_other_way_round_it_is_better_and_ends_with_0(folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
    code, out, _ = run(capsys, folder / "noisy.parquet", folder / "monday.parquet")
    assert code == 0
    assert "Together: better." in out


def test_a_flight_too_short_is_never_called_the_same(folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
    code, out, _ = run(capsys, folder / "monday.parquet", folder / "short.csv")
    assert code == 1
    assert "[??] roll: cannot tell." in out
    assert "Together: cannot tell." in out


def test_json_holds_columns_verdicts_and_intervals_and_is_strict(
    folder: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    code, out, _ = run(capsys, folder / "monday.parquet", folder / "noisy.parquet", "--json")

    def refuse(name: str) -> float:
        raise AssertionError(f"{name} is no JSON")

    data = json.loads(out, parse_constant=refuse)
    assert code == 1
    assert data["change"] == "worse"
    assert [part["axis"] for part in data["parts"]] == ["roll", "pitch", "yaw", "motors"]
    assert data["before"]["rows"] == 30_000
    assert {"quantity": "time", "column": "time_s", "unit": "s"}.items() <= data["before"]["columns"][0].items()
    noisy = next(one for one in data["parts"][0]["quantities"] if one["change"] == "worse")
    assert noisy["before"] < noisy["after"]
    assert 0 < noisy["low"] < noisy["difference"] < noisy["high"]


def test_the_page_stands_alone_and_says_the_same(
    folder: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    page = tmp_path / "page.html"
    code, out, _ = run(capsys, folder / "monday.parquet", folder / "noisy.parquet", "--html", page)
    text = page.read_text(encoding="utf-8")
    assert code == 1
    assert str(page) in out
    assert "<svg" in text
    assert "Two flights: worse" in text
    assert "http://" not in text.replace("http://www.w3.org/2000/svg", "")
    assert "https://" not in text
    assert "<script" not in text
    assert "First flight" in text


def test_a_page_that_is_there_is_refused_before_anything_is_read(
    folder: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    page = tmp_path / "page.html"
    page.write_text("mine")
    code, _, err = run(capsys, tmp_path / "nowhere.csv", folder / "friday.csv", "--html", page)
    assert code == 8
    assert "page.html" in err
    assert page.read_text() == "mine"


def test_a_map_is_used_for_both(folder: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    column_map = tmp_path / "map.toml"
    lines = ['format = "rotorwright-column-map"', "version = 1", 'time = { column = "time_s", unit = "s" }']
    for group, stem in (("rate", "rate"), ("wanted", "wanted_rate")):
        lines.append(f"[{group}]")
        for axis in ("roll", "pitch", "yaw"):
            sign = ", sign = -1" if axis == "yaw" else ""
            lines.append(f'{axis} = {{ column = "{stem}_{axis}_rad_s", unit = "rad/s"{sign} }}')
    column_map.write_text("\n".join(lines))
    code, out, _ = run(capsys, folder / "monday.parquet", folder / "friday.csv", "--columns", column_map)
    assert code == 0
    assert "wanted_rate_yaw_rad_s is taken for the wanted rate yaw, in rad/s times -1: the column map says so." in out
    assert "As before:" in out


def test_a_bad_recording_ends_in_four_answers_and_in_json(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    bad = tmp_path / "bad.csv"
    bad.write_bytes(bytes(range(256)))
    code, out, err = run(capsys, bad, bad, "--json")
    assert code == 8
    assert json.loads(out)["error"]["id"] == "storage.recording-form"
    for answer in ("Stopped:", "Why", "Aircraft", "Next"):
        assert answer in err


def quantity(**others: object) -> Quantity:
    plain = Quantity("noise, <b>", Family.NOISE, "deg/s", 1.0, 2.0, True, 1.0, 0.5, 1.5, Change.WORSE)
    return replace(plain, **others)  # type: ignore[arg-type]


def test_a_quantity_is_shown_with_its_interval_in_its_kind_of_number() -> None:
    assert quantity_cells(quantity()).change == "+100.0 % (+50.0 % to +150.0 %)"
    assert quantity_cells(quantity(is_ratio=False)).change == "+1 (+0.5 to +1.5)"
    nan = float("nan")
    unknown = quantity_cells(quantity(before=nan, difference=nan, low=nan, high=nan, is_missing=True, why="not there"))
    assert (unknown.before, unknown.change, unknown.mark.words) == ("\N{EN DASH}", "\N{EN DASH}", "not there")
    assert quantity_cells(quantity(high=float("inf"))).change == "+100.0 % (+50.0 % to not known)"


def test_whatever_a_name_holds_stays_text_in_the_page() -> None:
    part = AxisComparison("roll", Change.WORSE, "<script>", (quantity(),))
    page = render_flights(
        FlightComparison((part, part, part), part), FlightSide("<i>a.csv", ("<u>",)), FlightSide("b", ())
    )
    assert "<b>" not in page.replace("<b>Next</b>", "")
    assert "<script>" not in page
    assert "&lt;i&gt;a.csv" in page
