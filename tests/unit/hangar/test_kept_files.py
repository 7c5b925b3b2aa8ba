"""Kept files: whole or not at all, never overwritten, checked when read."""

from __future__ import annotations

import errno
import hashlib
import io
import os
import stat
from pathlib import Path
from typing import NoReturn

import pytest

from rotorwright.errors import StorageError
from rotorwright.hangar import files
from rotorwright.hangar.errors import (
    DamagedFileError,
    DiskError,
    DiskFullError,
    KeptNameError,
    MissingFileError,
    NameTakenError,
    NoPermissionError,
    ReadBackDiffersError,
    ReadOnlyPlaceError,
)
from rotorwright.hangar.files import read_kept_file, set_aside, write_kept_file

DATA = bytes(range(256)) * 20


class StopHere(BaseException):
    """The process ends here; no handler of ours may catch it."""


def names_in(folder: Path) -> set[str]:
    return {path.name for path in folder.iterdir()}


def test_what_was_kept_is_read_back_with_its_digest(tmp_path: Path) -> None:
    kept = write_kept_file(tmp_path / "as-found.json", DATA)
    assert (kept.name, kept.size_bytes) == ("as-found.json", len(DATA))
    assert kept.sha256 == hashlib.sha256(DATA).hexdigest()
    assert read_kept_file(tmp_path / "as-found.json", kept.sha256) == DATA
    assert names_in(tmp_path) == {"as-found.json"}


def test_an_empty_file_can_be_kept(tmp_path: Path) -> None:
    kept = write_kept_file(tmp_path / "empty", b"")
    assert read_kept_file(tmp_path / "empty", kept.sha256) == b""


def test_the_same_content_once_more_is_fine(tmp_path: Path) -> None:
    first = write_kept_file(tmp_path / "image.hex", DATA)
    assert write_kept_file(tmp_path / "image.hex", DATA) == first


def test_other_content_never_takes_the_place_of_what_was_kept(tmp_path: Path) -> None:
    write_kept_file(tmp_path / "image.hex", DATA)
    with pytest.raises(NameTakenError) as caught:
        write_kept_file(tmp_path / "image.hex", DATA + b"!")
    assert (tmp_path / "image.hex").read_bytes() == DATA
    assert "was not touched" in caught.value.state
    assert names_in(tmp_path) == {"image.hex"}


@pytest.mark.parametrize("name", [".hidden", "a b", "päck", "c:d", "x" * 101, "-x"])
def test_names_that_some_system_would_not_take_are_refused(tmp_path: Path, name: str) -> None:
    with pytest.raises(KeptNameError):
        write_kept_file(tmp_path / name, b"")
    assert names_in(tmp_path) == set()


@pytest.mark.parametrize(
    "change", [b"", DATA[:-1], DATA + b"\0", b"\xff" + DATA[1:]], ids=["empty", "short", "long", "bit"]
)
def test_a_damaged_file_is_named_and_stays_where_it_is(tmp_path: Path, change: bytes) -> None:
    kept = write_kept_file(tmp_path / "as-found.json", DATA)
    (tmp_path / "as-found.json").write_bytes(change)
    with pytest.raises(DamagedFileError) as caught:
        read_kept_file(tmp_path / "as-found.json", kept.sha256)
    assert str(tmp_path / "as-found.json") in caught.value.what
    assert "as-found.json" in caught.value.todo
    assert (tmp_path / "as-found.json").read_bytes() == change


def test_a_missing_file_is_told_as_missing(tmp_path: Path) -> None:
    with pytest.raises(MissingFileError):
        read_kept_file(tmp_path / "gone", "0" * 64)


def test_a_damaged_file_set_aside_makes_room_and_is_not_lost(tmp_path: Path) -> None:
    path = tmp_path / "as-found.json"
    for number in (1, 2):
        path.write_bytes(b"damaged %d" % number)
        assert set_aside(path).name == f"as-found.json.damaged-{number}"
    write_kept_file(path, DATA)
    assert names_in(tmp_path) == {"as-found.json", "as-found.json.damaged-1", "as-found.json.damaged-2"}


REFUSALS = [
    (errno.ENOSPC, DiskFullError),
    (errno.EDQUOT, DiskFullError),
    (errno.EACCES, NoPermissionError),
    (errno.EROFS, ReadOnlyPlaceError),
    (errno.EIO, DiskError),
]


def refuse(code: int) -> NoReturn:
    raise OSError(code, os.strerror(code))


@pytest.mark.parametrize(("code", "kind"), REFUSALS, ids=[errno.errorcode[code] for code, _ in REFUSALS])
@pytest.mark.parametrize("act", ["fsync", "link"])
def test_a_refusing_disk_leaves_nothing_and_is_told_in_words(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, act: str, code: int, kind: type[StorageError]
) -> None:
    monkeypatch.setattr(os, act, lambda *_: refuse(code))
    with pytest.raises(kind) as caught:
        write_kept_file(tmp_path / "as-found.json", DATA)
    assert names_in(tmp_path) == set()
    assert caught.value.facts["errno"] == code
    assert caught.value.why
    assert caught.value.todo


@pytest.mark.skipif(not Path("/dev/full").exists(), reason="this system has no device that is always full")
def test_a_disk_that_fills_up_while_writing_leaves_nothing(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    real = Path.open
    monkeypatch.setattr(Path, "open", lambda path, mode: real(Path("/dev/full") if mode == "xb" else path, "wb"))
    with pytest.raises(DiskFullError):
        write_kept_file(tmp_path / "x", DATA)
    assert names_in(tmp_path) == set()


def test_a_read_only_folder_is_told_as_no_permission(tmp_path: Path) -> None:
    if os.name == "nt" or os.geteuid() == 0:
        pytest.skip("the super-user may write everywhere")
    tmp_path.chmod(stat.S_IRUSR | stat.S_IXUSR)
    try:
        with pytest.raises(NoPermissionError):
            write_kept_file(tmp_path / "x", DATA)
    finally:
        tmp_path.chmod(stat.S_IRWXU)


def test_a_disk_that_gives_back_other_bytes_is_found_at_once(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(files, "_read_from_disk", lambda path: path.read_bytes()[:-1])
    with pytest.raises(ReadBackDiffersError) as caught:
        write_kept_file(tmp_path / "as-found.json", DATA)
    assert names_in(tmp_path) == {"as-found.json.damaged-1"}
    assert "as-found.json.damaged-1" in caught.value.state


@pytest.mark.parametrize("code", [errno.EPERM, errno.ENOTSUP])
def test_without_hard_links_the_rename_still_overwrites_nothing(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, code: int
) -> None:
    monkeypatch.setattr(os, "link", lambda *_: refuse(code))
    write_kept_file(tmp_path / "a", DATA)
    assert (tmp_path / "a").read_bytes() == DATA
    assert names_in(tmp_path) == {"a"}
    with pytest.raises(NameTakenError):
        write_kept_file(tmp_path / "a", b"other")


def test_a_name_taken_between_look_and_link_is_not_overwritten(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    path = tmp_path / "a"
    monkeypatch.setattr(Path, "exists", lambda _: False)  # the look came too early
    path.write_bytes(b"the other's")
    with pytest.raises(NameTakenError):
        write_kept_file(path, DATA)
    assert path.read_bytes() == b"the other's"
    assert names_in(tmp_path) == {"a"}


def test_without_hard_links_a_name_taken_just_before_the_rename_is_not_overwritten(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def refuse_after_somebody_took_the_name(_part: Path, path: Path) -> NoReturn:
        path.write_bytes(b"the other's")
        refuse(errno.EPERM)

    monkeypatch.setattr(os, "link", refuse_after_somebody_took_the_name)
    with pytest.raises(NameTakenError):
        write_kept_file(tmp_path / "a", DATA)
    assert (tmp_path / "a").read_bytes() == b"the other's"


STEPS = ["write part", "fsync part", "link", "unlink part", "fsync folder", "read back"]


def stop_at(monkeypatch: pytest.MonkeyPatch, step: int, *, after: bool) -> list[str]:
    """Let the `step`th of the six acts of a write be the last one, done (`after`) or not; return the acts seen."""
    seen: list[str] = []
    real_fsync, real_link, real_unlink, real_open = os.fsync, os.link, Path.unlink, Path.open
    real_read = files._read_from_disk

    def act(name: str, run: object, *args: object, **options: object) -> object:
        seen.append(name)
        if len(seen) == step and not after:
            raise StopHere
        done = run(*args, **options)  # type: ignore[operator]
        if len(seen) == step:
            if isinstance(done, io.IOBase):
                done.close()
            raise StopHere
        return done

    def fsync(handle: int) -> None:
        act("fsync folder" if stat.S_ISDIR(os.fstat(handle).st_mode) else "fsync part", real_fsync, handle)

    def unlink(path: Path, **options: bool) -> None:
        if len(seen) < step:  # a dead process tidies nothing up
            act("unlink part", real_unlink, path, **options)

    def open_(path: Path, mode: str = "r") -> object:
        return act("write part", real_open, path, mode) if mode == "xb" else real_open(path, mode)

    monkeypatch.setattr(os, "fsync", fsync)
    monkeypatch.setattr(os, "link", lambda *names: act("link", real_link, *names))
    monkeypatch.setattr(Path, "unlink", unlink)
    monkeypatch.setattr(Path, "open", open_)
    monkeypatch.setattr(files, "_read_from_disk", lambda path: act("read back", real_read, path))
    return seen


@pytest.mark.skipif(os.name == "nt", reason="Windows has no folder to sync and no link here")
@pytest.mark.parametrize("after", [False, True], ids=["before", "after"])
@pytest.mark.parametrize("step", range(1, len(STEPS) + 1), ids=STEPS)
def test_a_stop_anywhere_leaves_nothing_or_the_whole_and_the_next_try_finishes(
    tmp_path: Path, step: int, *, after: bool
) -> None:
    path = tmp_path / "as-found.json"
    with pytest.MonkeyPatch.context() as patch:
        seen = stop_at(patch, step, after=after)
        with pytest.raises(StopHere):
            write_kept_file(path, DATA)
    assert seen == STEPS[:step], "the stop came where it was meant to"
    was_there = step > 3 or (step == 3 and after)
    assert path.exists() == was_there
    if was_there:
        assert path.read_bytes() == DATA
    kept = write_kept_file(path, DATA)
    assert read_kept_file(path, kept.sha256) == DATA
