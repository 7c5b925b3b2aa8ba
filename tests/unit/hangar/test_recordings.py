"""Recordings from files: every kind of bad file ends in words that name the place, and never in a traceback."""

from __future__ import annotations

import os
from pathlib import Path

import numpy as np
import pytest
from tests.unit.signals.flight_columns import made_flight, plain_columns

from rotorwright.errors import StorageError
from rotorwright.hangar import recordings
from rotorwright.hangar.errors import NameTakenError, NoPermissionError
from rotorwright.hangar.recordings import read_recording, write_recording_csv, write_recording_parquet
from rotorwright.signals.recording_errors import (
    ColumnMapError,
    ColumnNamesTwiceError,
    DecimalCommaError,
    RecordingEmptyError,
    RecordingFormError,
    RecordingsExtraMissingError,
    RecordingTextError,
    RecordingTooLargeError,
    RecordingTooShortError,
    RecordingUnreadableError,
)

ROWS = 200
NAMES = tuple(plain_columns(ROWS))


@pytest.fixture(params=["with pyarrow", "without"])
def reader(request: pytest.FixtureRequest, monkeypatch: pytest.MonkeyPatch) -> str:
    """Both readers of CSV have to say the same."""
    if request.param == "without":
        monkeypatch.setattr(recordings, "_arrow", lambda part="": None)
    return str(request.param)


def lines(rows: int = ROWS, *, delimiter: str = ",") -> list[str]:
    values = np.column_stack(list(plain_columns(rows).values())).tolist()
    return [delimiter.join(NAMES), *(delimiter.join(f"{value:.6f}" for value in row) for row in values)]


def put(tmp_path: Path, text: str | bytes, name: str = "log.csv") -> Path:
    path = tmp_path / name
    path.write_bytes(text if isinstance(text, bytes) else text.encode())
    return path


def with_cell(row: int, column: str, cell: str) -> str:
    """Return a sound text but for one cell; `row` counts lines from 1, as editors do."""
    found = lines()
    cells = found[row - 1].split(",")
    cells[NAMES.index(column)] = cell
    found[row - 1] = ",".join(cells)
    return "\n".join(found) + "\n"


# --- sound files


@pytest.mark.parametrize("delimiter", [",", ";", "\t"])
@pytest.mark.parametrize("end", ["\n", "\r\n"])
def test_each_delimiter_and_each_line_end_is_read(tmp_path: Path, reader: str, delimiter: str, end: str) -> None:
    path = put(tmp_path, end.join(lines(delimiter=delimiter)) + end)
    flight = read_recording(path).flight
    assert np.allclose(flight.rate_rad_s, made_flight(ROWS).rate_rad_s, atol=1e-6)
    assert flight.source == "log.csv"


def test_lines_before_the_names_and_comments_between_the_rows_are_passed_over(tmp_path: Path, reader: str) -> None:
    found = lines()
    text = ["Recorder 7", "", "# made in the field", "pilot;nobody", *found[:80], "# a mark, by hand", "", *found[80:]]
    assert len(read_recording(put(tmp_path, "\n".join(text))).flight.at_s) == ROWS


def test_names_in_a_comment_right_before_the_values_are_taken(tmp_path: Path, reader: str) -> None:
    found = lines()
    flight = read_recording(put(tmp_path, "\n".join([f"# {found[0]}", *found[1:]]))).flight
    assert len(flight.at_s) == ROWS


def test_values_and_names_in_quotes_are_read(tmp_path: Path, reader: str) -> None:
    text = "\n".join(",".join(f'"{cell}"' for cell in line.split(",")) for line in lines())
    assert len(read_recording(put(tmp_path, text)).flight.at_s) == ROWS


def test_a_mark_of_byte_order_and_signs_of_an_old_encoding_are_read(tmp_path: Path, reader: str) -> None:
    text = "\n".join(lines())
    assert len(read_recording(put(tmp_path, b"\xef\xbb\xbf" + text.encode())).flight.at_s) == ROWS
    for axis in "xyz":
        text = text.replace(f"gyro_{axis}", f"gyro_{axis} [°/s]")
    found = read_recording(put(tmp_path, text.encode("cp1252")))
    assert any("gyro_z [°/s] are taken for the rate roll, pitch, yaw, in deg/s" in each for each in found.said)


def test_a_column_of_words_is_left_out_and_it_is_said(tmp_path: Path, reader: str) -> None:
    found = lines()
    text = "\n".join([found[0] + ",stage", *(line + ",hover" for line in found[1:])])
    assert "Left out, since they hold no numbers: stage." in read_recording(put(tmp_path, text)).said


@pytest.mark.parametrize("cell", ["", "nan", "NaN", "NA", "null", "inf", "-Infinity"])
def test_missing_and_infinite_cells_are_kept_and_said(tmp_path: Path, reader: str, cell: str) -> None:
    found = read_recording(put(tmp_path, with_cell(61, "gyro_x", cell)))
    assert not np.isfinite(found.flight.rate_rad_s[59, 0])
    assert np.isfinite(found.flight.rate_rad_s).sum() == 3 * ROWS - 1
    assert any("gyro_x has 1 of 200 values that are missing or infinite" in each for each in found.said)


def test_a_last_line_that_was_cut_is_left_out_and_it_is_said(tmp_path: Path, reader: str) -> None:
    found = read_recording(put(tmp_path, "\n".join([*lines(), "200000.0,50"])))
    assert len(found.flight.at_s) == ROWS
    assert f"The last line ({ROWS + 2}) is cut short; it is left out." in found.said


def test_progress_ends_at_the_end_and_never_before(tmp_path: Path, reader: str) -> None:
    seen: list[tuple[str, int, int]] = []
    read_recording(put(tmp_path, "\n".join(lines())), progress=lambda *each: seen.append(each))
    assert {words for words, _, _ in seen} == {"reading log.csv"}
    assert seen[-1][1] == seen[-1][2]
    assert sorted(done for _, done, _ in seen) == [done for _, done, _ in seen]


def test_with_a_map_only_its_columns_are_read(tmp_path: Path, reader: str) -> None:
    text = (
        'format = "rotorwright-column-map"\nversion = 1\ntime = { column = "time", unit = "us" }\n[rate]\n'
        + "".join(
            f'{word} = {{ column = "gyro_{axis}", unit = "deg/s" }}\n'
            for axis, word in zip("xyz", ("roll", "pitch", "yaw"), strict=True)
        )
    )
    column_map = put(tmp_path, text, "map.toml")
    broken_elsewhere = with_cell(150, "motor1", "oops")
    found = read_recording(put(tmp_path, broken_elsewhere), column_map=column_map)
    assert found.flight.motors is None
    assert len(found.flight.at_s) == ROWS


# --- bad files


def test_an_empty_file_holds_no_recording(tmp_path: Path, reader: str) -> None:
    with pytest.raises(RecordingEmptyError, match=r"log\.csv holds no recording") as caught:
        read_recording(put(tmp_path, b""))
    assert "The file has no bytes" in caught.value.why
    with pytest.raises(RecordingEmptyError) as caught:
        read_recording(put(tmp_path, b"\n \n\n"))
    assert "nothing in it but blanks" in caught.value.why


def test_names_without_values_hold_no_recording(tmp_path: Path, reader: str) -> None:
    with pytest.raises(RecordingEmptyError) as caught:
        read_recording(put(tmp_path, ",".join(NAMES) + "\n"))
    assert caught.value.why == f"It has the names of {len(NAMES)} columns and no row of values."


def test_two_rows_are_too_short(tmp_path: Path, reader: str) -> None:
    with pytest.raises(RecordingTooShortError, match=r"log\.csv has 2 rows of values"):
        read_recording(put(tmp_path, "\n".join(lines()[:3])))


@pytest.mark.parametrize("noise", [bytes(range(256)) * 40, np.random.default_rng(1).bytes(5000), b"a,b\n1,2\n\x00\x00"])
def test_bytes_that_no_text_has_are_no_table(tmp_path: Path, reader: str, noise: bytes) -> None:
    with pytest.raises(RecordingFormError, match="bytes in it that no text has"):
        read_recording(put(tmp_path, noise))


@pytest.mark.parametrize("text", ["Dear diary,\ntoday we flew.\nIt was windy, cold.\n", "one\n2\n3\n4\n", "{}"])
def test_text_without_values_in_columns_is_no_table(tmp_path: Path, reader: str, text: str) -> None:
    with pytest.raises(RecordingFormError, match="no table of numbers"):
        read_recording(put(tmp_path, text))


def test_values_without_names_are_refused(tmp_path: Path, reader: str) -> None:
    with pytest.raises(
        RecordingFormError, match=rf"values from line 1 on, but no line with the names of its {len(NAMES)}"
    ):
        read_recording(put(tmp_path, "\n".join(lines()[1:])))


def test_a_word_among_numbers_is_named_by_line_and_column(tmp_path: Path, reader: str) -> None:
    with pytest.raises(RecordingTextError, match=r"log.csv, line 61, column gyro_y: 'oops' is no number"):
        read_recording(put(tmp_path, with_cell(61, "gyro_y", "oops")))


@pytest.mark.parametrize("cell", ["1_000", "0x10", "1.5.2", "--3", "12 V"])
def test_what_only_looks_like_a_number_is_none(tmp_path: Path, reader: str, cell: str) -> None:
    with pytest.raises(RecordingTextError, match="column accel_x"):
        read_recording(put(tmp_path, with_cell(100, "accel_x", cell)))


def test_a_word_far_behind_the_head_is_found_too(tmp_path: Path, reader: str) -> None:
    found = lines(6000)
    found[5000] = found[5000].replace(found[5000].split(",")[3], "oops", 1)
    with pytest.raises(RecordingTextError, match=rf"line 5001, column {NAMES[3]}: 'oops'"):
        read_recording(put(tmp_path, "\n".join(found)))


def test_a_row_with_more_values_than_names_is_named(tmp_path: Path, reader: str) -> None:
    found = lines()
    found[90] += ",1.0"
    with pytest.raises(RecordingFormError, match=rf"line 91: there are {len(NAMES) + 1} values, but {len(NAMES)}"):
        read_recording(put(tmp_path, "\n".join(found)))


def test_a_row_that_was_cut_in_the_middle_is_named(tmp_path: Path, reader: str) -> None:
    found = lines()
    found[90] = "90000.0,1.0"
    with pytest.raises(RecordingFormError, match="line 91: there are 2 values"):
        read_recording(put(tmp_path, "\n".join(found)))


@pytest.mark.parametrize("delimiter", [";", "\t", ","])
def test_decimal_commas_are_refused_in_words(tmp_path: Path, reader: str, delimiter: str) -> None:
    found = lines(delimiter=delimiter)
    text = "\n".join([found[0], *(line.replace(".", ",") for line in found[1:])])
    with pytest.raises(DecimalCommaError, match="written with a decimal comma") as caught:
        read_recording(put(tmp_path, text))
    assert "decimal points (1.5)" in caught.value.todo


def test_a_decimal_comma_far_behind_the_head_is_refused_too(tmp_path: Path, reader: str) -> None:
    found = lines(6000, delimiter=";")
    found[5000] = found[5000].replace(".", ",", 1)
    with pytest.raises(DecimalCommaError, match=r"line 5001, column time: '5000000,?|line 5001"):
        read_recording(put(tmp_path, "\n".join(found)))


def test_two_columns_of_one_name_are_refused(tmp_path: Path, reader: str) -> None:
    found = lines()
    found[0] = found[0].replace("gyro_y", "gyro_x")
    with pytest.raises(ColumnNamesTwiceError, match="more than one column called gyro_x"):
        read_recording(put(tmp_path, "\n".join(found)))


def test_a_file_that_is_not_there_or_a_folder_is_named(tmp_path: Path) -> None:
    with pytest.raises(RecordingUnreadableError, match=r"nowhere\.csv cannot be read: No such file"):
        read_recording(tmp_path / "nowhere.csv")
    with pytest.raises(RecordingUnreadableError, match="cannot be read"):
        read_recording(tmp_path)


@pytest.mark.skipif(
    not hasattr(os, "geteuid") or os.geteuid() == 0, reason="whoever may read everything is refused nothing"
)
def test_a_file_that_may_not_be_read_is_named(tmp_path: Path) -> None:
    path = put(tmp_path, "\n".join(lines()))
    path.chmod(0)
    with pytest.raises(RecordingUnreadableError, match="Permission denied"):
        read_recording(path)


def test_a_recording_that_does_not_fit_into_memory_is_refused_before_it_is_read(
    tmp_path: Path, reader: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    path = put(tmp_path, "\n".join(lines(4000)))
    monkeypatch.setattr(recordings, "free_memory_bytes", lambda: 100_000)
    with pytest.raises(RecordingTooLargeError, match=r"it needs about 1 MiB, and 0 MiB are free") as caught:
        read_recording(path)
    assert "column map" in caught.value.todo


def test_memory_that_runs_out_while_reading_is_said_the_same_way(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def run_out(*_: object, **__: object) -> None:
        raise MemoryError

    monkeypatch.setattr(recordings, "take_flight", run_out)
    with pytest.raises(RecordingTooLargeError, match="does not fit into memory"):
        read_recording(put(tmp_path, "\n".join(lines())))


def test_how_much_memory_is_free_is_a_number_or_unknown() -> None:
    free = recordings.free_memory_bytes()
    assert free is None or free > 1 << 20


@pytest.mark.parametrize(
    ("content", "fault"),
    [(None, "it cannot be read: No such file"), (b"\xff\xfe", "it is no UTF-8 text"), (b"x", "it is no TOML")],
)
def test_a_column_map_that_cannot_be_read_is_named(tmp_path: Path, content: bytes | None, fault: str) -> None:
    column_map = tmp_path / "map.toml" if content is None else put(tmp_path, content, "map.toml")
    with pytest.raises(ColumnMapError, match=fault):
        read_recording(put(tmp_path, "\n".join(lines())), column_map=column_map)


def test_a_map_over_a_column_of_words_names_its_first_cell(tmp_path: Path, reader: str) -> None:
    found = lines()
    path = put(tmp_path, "\n".join([found[0] + ",stage", *(line + ",hover" for line in found[1:])]))
    text = (
        'format = "rotorwright-column-map"\nversion = 1\ntime = { column = "time", unit = "us" }\n[rate]\n'
        + "".join(
            f'{word} = {{ column = "{column}", unit = "deg/s" }}\n'
            for word, column in (("roll", "gyro_x"), ("pitch", "gyro_y"), ("yaw", "stage"))
        )
    )
    with pytest.raises(RecordingTextError, match="line 2, column stage: 'hover' is no number"):
        read_recording(path, column_map=put(tmp_path, text, "map.toml"))


def test_parquet_without_its_library_says_how_to_install_it(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    path = write_recording_parquet(tmp_path / "log.parquet", made_flight(ROWS))
    monkeypatch.setattr(recordings, "_arrow", lambda part="": None)
    with pytest.raises(RecordingsExtraMissingError) as caught:
        read_recording(path)
    assert "pip install 'rotorwright[recordings]'" in caught.value.todo
    with pytest.raises(RecordingsExtraMissingError):
        write_recording_parquet(tmp_path / "other.parquet", made_flight(ROWS))


@pytest.mark.parametrize("kept", [4, 100, 5000])
def test_parquet_that_is_cut_or_damaged_is_no_table(tmp_path: Path, kept: int) -> None:
    whole = write_recording_parquet(tmp_path / "log.parquet", made_flight(ROWS)).read_bytes()
    with pytest.raises(RecordingFormError, match="begins as Parquet, but cannot be read as such"):
        read_recording(put(tmp_path, whole[:kept], "cut.parquet"))
    damaged = whole[:kept] + bytes(64) + whole[kept + 64 :]
    with pytest.raises(RecordingFormError, match="begins as Parquet"):
        read_recording(put(tmp_path, damaged[:-8] + bytes(4) + damaged[-4:], "damaged.parquet"))


def test_every_error_answers_all_four_questions(tmp_path: Path) -> None:
    with pytest.raises(StorageError) as caught:
        read_recording(put(tmp_path, b""))
    assert all(caught.value.as_json()[key] for key in ("id", "what", "why", "state", "todo"))
    assert caught.value.exit_code == 8


# --- writing


@pytest.mark.parametrize("write", [write_recording_csv, write_recording_parquet])
def test_a_written_flight_comes_back_to_the_last_bit(tmp_path: Path, write: object) -> None:
    assert callable(write)
    flight = made_flight(ROWS)
    flight.rate_rad_s[3, 1] = np.nan
    back = read_recording(write(tmp_path / "log.any", flight)).flight
    for name in flight.__slots__:
        if name != "source":
            assert np.array_equal(getattr(back, name), getattr(flight, name), equal_nan=True), name
    assert [each.name for each in tmp_path.iterdir()] == ["log.any"]


@pytest.mark.parametrize("write", [write_recording_csv, write_recording_parquet])
def test_nothing_is_overwritten_and_no_part_is_left(tmp_path: Path, write: object) -> None:
    assert callable(write)
    path = put(tmp_path, "mine")
    with pytest.raises(NameTakenError, match="is there already"):
        write(path, made_flight(ROWS))
    assert path.read_text() == "mine"
    assert len(list(tmp_path.iterdir())) == 1


@pytest.mark.skipif(
    not hasattr(os, "geteuid") or os.geteuid() == 0, reason="whoever may write everywhere is refused nothing"
)
def test_a_folder_that_takes_no_file_is_said(tmp_path: Path) -> None:
    tmp_path.chmod(0o500)
    with pytest.raises(NoPermissionError):
        write_recording_csv(tmp_path / "log.csv", made_flight(ROWS))
