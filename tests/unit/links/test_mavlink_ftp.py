"""Files of the aircraft: whole and right, over a line that loses, from an aircraft that forgets."""

from __future__ import annotations

import random

import pytest
from tests.unit.links.fake_aircraft import FakeAircraft, Faults

from rotorwright.errors import RotorwrightError
from rotorwright.links.errors import NoAnswerError
from rotorwright.links.mavlink.errors import FileDamagedError, FileMissingError, FileRefusedError
from rotorwright.links.mavlink.link import MavlinkLink

PATH = "/display/characters.bin"
CONTENT = random.Random(5).randbytes(16_384)


def _aircraft(faults: Faults | None = None, content: bytes = CONTENT) -> FakeAircraft:
    aircraft = FakeAircraft({}, faults=faults)
    aircraft.files[PATH] = content
    return aircraft


def _link(aircraft: FakeAircraft) -> MavlinkLink:
    return MavlinkLink(aircraft.wire, aircraft.clock)


def _has_four_answers(error: RotorwrightError) -> bool:
    return all((error.what, error.why, error.state, error.todo))


@pytest.mark.parametrize("size", [0, 1, 238, 239, 240, 5000, 16_384])
def test_files_of_every_size_are_read_whole(size: int) -> None:
    aircraft = _aircraft(content=CONTENT[:size])
    steps: list[tuple[int, int]] = []
    link = _link(aircraft)
    assert link.read_file(PATH, lambda *step: steps.append(step)) == CONTENT[:size]
    assert not steps or steps[-1] == (size, size)
    assert not aircraft.sessions, "the session is ended"
    assert link.file_crc(PATH) == link.file_crc(PATH)


def test_a_large_file_comes_in_one_burst() -> None:
    aircraft = _aircraft()
    _link(aircraft).read_file(PATH)
    assert aircraft.received.count("FILE_TRANSFER_PROTOCOL") == 4  # open, burst, end, checksum


@pytest.mark.parametrize("seed", range(6))
def test_a_fifth_of_all_frames_lost_and_files_are_whole_both_ways(seed: int) -> None:
    aircraft = _aircraft(Faults(loss=0.2, doubled=0.1, damage=0.02, rubbish=0.1, seed=seed))
    link = _link(aircraft)
    assert link.read_file(PATH) == CONTENT
    turned = CONTENT[::-1]
    link.write_file(PATH, turned, verify=True)
    assert aircraft.files[PATH] == turned
    assert link.traffic.asked_again > 10, "the faults were real"


def test_late_answers_are_not_taken_for_answers_to_later_requests() -> None:
    aircraft = _aircraft(Faults(late=0.2))
    link = _link(aircraft)
    link.write_file(PATH, CONTENT[:3000])
    assert aircraft.files[PATH] == CONTENT[:3000]
    assert link.read_file(PATH) == CONTENT[:3000]


def test_a_slow_line_is_noticed_and_not_asked_twice_for_ever() -> None:
    aircraft = _aircraft(Faults(latency_s=0.4, ftp_refuses={15: 7}), CONTENT[:10_000])
    assert _link(aircraft).read_file(PATH) == CONTENT[:10_000]
    pieces = 42
    assert aircraft.received.count("FILE_TRANSFER_PROTOCOL") < pieces + 10


def test_an_aircraft_without_bursts_is_read_piece_by_piece() -> None:
    assert _link(_aircraft(Faults(ftp_refuses={15: 7}))).read_file(PATH) == CONTENT


def test_an_aircraft_without_checksums_is_read_all_the_same_and_verified_by_reading_back() -> None:
    aircraft = _aircraft(Faults(ftp_refuses={14: 7}))
    link = _link(aircraft)
    assert link.read_file(PATH) == CONTENT
    assert link.file_crc(PATH) is None
    link.write_file(PATH, CONTENT[::-1], verify=True)
    assert aircraft.files[PATH] == CONTENT[::-1]


@pytest.mark.parametrize("lost_at", range(1, 8))
def test_a_session_that_the_aircraft_forgets_is_opened_again(lost_at: int) -> None:
    aircraft = _aircraft(Faults(lose_session_at={lost_at}, ftp_refuses={15: 7}))
    link = _link(aircraft)
    assert link.read_file(PATH) == CONTENT
    writing = _aircraft(Faults(lose_session_at={lost_at}))
    _link(writing).write_file(PATH, CONTENT[::-1], verify=True)
    assert writing.files[PATH] == CONTENT[::-1]


def test_sessions_that_are_always_forgotten_are_an_error() -> None:
    aircraft = _aircraft(Faults(lose_session_at=set(range(1, 1000)), ftp_refuses={15: 7}))
    with pytest.raises(FileRefusedError) as caught:
        _link(aircraft).read_file(PATH)
    assert _has_four_answers(caught.value)
    with pytest.raises(FileRefusedError):
        _link(_aircraft(Faults(lose_session_at=set(range(1, 1000))))).write_file(PATH, CONTENT)


def test_sessions_left_over_from_a_stopped_program_are_ended() -> None:
    aircraft = _aircraft()
    aircraft.sessions.update({0: PATH, 1: PATH})
    assert _link(aircraft).read_file(PATH) == CONTENT


def test_a_file_that_is_not_there_is_told_apart_from_one_that_is_refused() -> None:
    link = _link(_aircraft())
    with pytest.raises(FileMissingError) as missing:
        link.read_file("/nothing")
    assert missing.value.facts == {"path": "/nothing", "code": 10}
    assert _has_four_answers(missing.value)
    with pytest.raises(FileRefusedError) as refused:
        _link(_aircraft(Faults(ftp_refuses={11: 9}))).write_file(PATH, b"x")
    assert "write-protected" in refused.value.what
    with pytest.raises(FileRefusedError) as unknown:
        _link(_aircraft(Faults(ftp_refuses={4: 77}))).read_file(PATH)
    assert unknown.value.facts["code"] == 77


def test_a_write_that_is_refused_in_the_middle_says_that_the_file_is_written_in_part() -> None:
    with pytest.raises(FileRefusedError) as caught:
        _link(_aircraft(Faults(ftp_refuses={7: 2}))).write_file(PATH, CONTENT)
    assert "in part" in caught.value.state


def test_a_new_file_is_made_and_a_longer_one_cut() -> None:
    aircraft = _aircraft()
    link = _link(aircraft)
    link.write_file("/new", b"abc", verify=True)
    assert aircraft.files["/new"] == b"abc"
    link.write_file(PATH, b"short", verify=True)
    assert aircraft.files[PATH] == b"short"
    steps: list[tuple[int, int]] = []
    link.write_file(PATH, CONTENT[:500], lambda *step: steps.append(step))
    assert steps == [(239, 500), (478, 500), (500, 500)]


def test_a_memory_that_accepts_and_forgets_is_found_by_its_checksum() -> None:
    link = _link(_aircraft(Faults(forgets_writes=True)))
    link.write_file(PATH, CONTENT[::-1])
    assert link.read_file(PATH) == CONTENT
    with pytest.raises(FileDamagedError) as caught:
        link.write_file(PATH, CONTENT[::-1], verify=True)
    assert "main battery" in caught.value.todo
    assert _has_four_answers(caught.value)


def test_a_checksum_that_never_fits_is_an_error_after_two_readings() -> None:
    class Changing(FakeAircraft):
        def _send_file_message(self, payload: bytes) -> None:
            self.files[PATH] = bytes(((self.files[PATH][0] + 1) % 256,)) + self.files[PATH][1:]
            super()._send_file_message(payload)

    changing = Changing({})
    changing.files[PATH] = CONTENT[:239]
    with pytest.raises(FileDamagedError) as caught:
        _link(changing).read_file(PATH)
    assert caught.value.facts["path"] == PATH


def test_an_aircraft_that_stops_answering_is_an_error() -> None:
    aircraft = _aircraft()
    link = _link(aircraft)
    link.wait_heartbeat()
    aircraft.faults.loss = 1.0
    with pytest.raises(NoAnswerError) as caught:
        link.read_file(PATH)
    assert "OPEN_FILE_RO" in str(caught.value.facts["question"])
