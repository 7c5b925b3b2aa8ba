"""Files that are kept: written whole or not at all, never overwritten, never deleted, checked when read.

Order of a write: a temporary file in the same folder, flush, fsync, then the final name by a hard link (which refuses a
name that is taken; where the file system has no hard links, by a rename after a look), fsync of the folder, and the
whole file read back and compared. After a stop at any place the name stands for nothing or for the whole content. A
stop before the link leaves a file that ends in `.part`, which nothing reads.
"""

from __future__ import annotations

import contextlib
import errno
import hashlib
import os
import re
import secrets
import sys
from dataclasses import dataclass
from typing import TYPE_CHECKING

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

if TYPE_CHECKING:
    from pathlib import Path

_NAME = re.compile(r"[A-Za-z0-9][A-Za-z0-9._-]{0,99}\Z")

_DISK_FULL = {errno.ENOSPC, errno.EDQUOT, errno.EFBIG}
_NO_PERMISSION = {errno.EACCES, errno.EPERM}


@dataclass(frozen=True, slots=True)
class KeptFile:
    """What the journal remembers of a kept file: its name in the changeover's folder, its SHA-256, its size."""

    name: str
    sha256: str
    size_bytes: int


def check_kept_name(name: str) -> None:
    """Return if `name` may be the name of a kept file: no folders in it, and every system takes it.

    Raises:
        KeptNameError: it may not.
    """
    if not _NAME.match(name):
        raise _bad_name(name)


def write_kept_file(path: Path, data: bytes) -> KeptFile:
    """Keep `data` as `path` for good; the folder must be there. The same content once more is fine.

    Raises:
        KeptNameError: the name could mean another thing on some system.
        NameTakenError: other content has this name; it stays as it is.
        DiskError: no room, no permission, read-only, or another refusal of the disk; nothing was kept.
        ReadBackDiffersError: the disk gave back other bytes; they were set aside.
    """
    check_kept_name(path.name)
    try:
        _publish(path, data)
        sync_folder(path.parent)
        found = _read_from_disk(path)
    except OSError as error:
        raise disk_error(error, path, act="kept") from error
    if found != data:
        raise _read_back_differs(path, set_aside(path))
    return KeptFile(path.name, hashlib.sha256(data).hexdigest(), len(data))


def read_kept_file(path: Path, sha256: str) -> bytes:
    """Return the content of `path`.

    Raises:
        DamagedFileError: the content does not have this digest any more; the file stays where it is.
        MissingFileError, DiskError: it cannot be read.
    """
    try:
        data = path.read_bytes()
    except FileNotFoundError as error:
        raise _missing(path) from error
    except OSError as error:
        raise disk_error(error, path, act="read") from error
    found = hashlib.sha256(data).hexdigest()
    if found != sha256:
        raise _damaged(path, expected=sha256, found=found, size_bytes=len(data))
    return data


def set_aside(path: Path) -> Path:
    """Give a damaged file another name beside its old one and return it. Nothing is deleted.

    Raises:
        DiskError: the file could not be renamed; it has its old name still.
    """
    try:
        aside = _free_name(path)
        path.rename(aside)
        sync_folder(path.parent)
    except OSError as error:
        raise disk_error(error, path, act="set aside") from error
    return aside


def publish_part(part: Path, path: Path) -> Path:
    """Let the finished file `part` be known as `path`, a free name in the same folder, once it is on the disk.

    Raises:
        OSError: it stays a part; FileExistsError when the name is taken.
    """
    _sync_file(part)
    _give_name(part, path)
    part.unlink(missing_ok=True)
    sync_folder(path.parent)
    return path


def sync_folder(folder: Path) -> None:
    """Let the names in `folder` survive a power cut, where the system allows it (Windows does not open folders)."""
    if os.name == "nt":
        return
    handle = os.open(folder, os.O_RDONLY)
    try:
        os.fsync(handle)
    except OSError as error:
        if error.errno not in {errno.EINVAL, errno.ENOTSUP}:  # some network file systems sync no folders
            raise
    finally:
        os.close(handle)


def _publish(path: Path, data: bytes) -> None:
    if path.exists():
        return _confirm_same(path, data)
    part = _write_part(path, data)
    try:
        _give_name(part, path)
    except FileExistsError:
        _confirm_same(path, data)
    finally:
        with contextlib.suppress(OSError):  # a leftover part harms nothing; the write itself must not fail for it
            part.unlink(missing_ok=True)
    return None


def _write_part(path: Path, data: bytes) -> Path:
    part = path.with_name(f".{path.name}.{secrets.token_hex(4)}.part")
    try:
        with part.open("xb") as file:
            file.write(data)
            file.flush()
            os.fsync(file.fileno())
    except OSError:
        with contextlib.suppress(OSError):
            part.unlink()
        raise
    return part


def _give_name(part: Path, path: Path) -> None:
    """Let `part` be known as `path`; FileExistsError when that name is taken."""
    if os.name != "nt":
        try:
            os.link(part, path)
        except FileExistsError:
            raise
        except OSError as error:
            if error.errno not in {errno.EPERM, errno.ENOTSUP, errno.EOPNOTSUPP, errno.EMLINK, errno.ENOSYS}:
                raise
        else:
            return
    if path.exists():  # Windows refuses in `rename` itself; elsewhere this look is all there is without hard links
        raise FileExistsError(errno.EEXIST, "exists", str(path))
    part.rename(path)


def _confirm_same(path: Path, data: bytes) -> None:
    found = path.read_bytes()
    if found != data:
        raise _name_taken(path, kept=found, offered=data)
    _sync_file(path)  # whoever wrote it may have died before it was on the disk


def _sync_file(path: Path) -> None:
    with path.open("rb+" if os.name == "nt" else "rb") as file:  # Windows syncs only what may be written
        os.fsync(file.fileno())


def _read_from_disk(path: Path) -> bytes:
    """Return the content as the disk has it: where the system can forget its cached copy, it is told to."""
    with path.open("rb") as file:
        if sys.platform == "linux":
            with contextlib.suppress(OSError):
                os.posix_fadvise(file.fileno(), 0, 0, os.POSIX_FADV_DONTNEED)
        return file.read()


def _free_name(path: Path) -> Path:
    number = 1
    while (aside := path.with_name(f"{path.name}.damaged-{number}")).exists():
        number += 1
    return aside


def disk_error(error: OSError, path: Path, *, act: str) -> DiskError:
    """Return what a person should know of `error`, met when `path` was to be `act` (kept, read, ...)."""
    kind, why, todo = _disk_answers(error)
    return kind(
        f"{path} could not be {act}: {error.strerror or error}.",
        why=why,
        state="Nothing was sent to the aircraft for this. Every file that was kept before is as it was.",
        todo=todo,
        path=str(path),
        errno=error.errno,
    )


def _disk_answers(error: OSError) -> tuple[type[DiskError], str, str]:
    if error.errno in _DISK_FULL:
        return (
            DiskFullError,
            "The disk, or this user's share of it, is full.",
            "Free some space on it, then say it again.",
        )
    if error.errno in _NO_PERMISSION:
        return (
            NoPermissionError,
            "This user may not write or read there, or another program holds the file.",
            "Give this user the right to the folder, or choose another with ROTORWRIGHT_HANGAR, then say it again.",
        )
    if error.errno == errno.EROFS:
        return (
            ReadOnlyPlaceError,
            "The disk is mounted read-only: a write-protected card, or a disk with errors.",
            "Check the disk, or choose another hangar folder with ROTORWRIGHT_HANGAR, then say it again.",
        )
    return (
        DiskError,
        "The system gave this reason; the disk may be failing or gone.",
        "Check that the disk is there and sound, then say it again.",
    )


def _bad_name(name: str) -> KeptNameError:
    return KeptNameError(
        f"{name!r} cannot be the name of a kept file.",
        why="Kept names are 1 to 100 letters, digits, dots, dashes and underscores, so that every system takes them.",
        todo="Report this as a defect.",
        name=name,
    )


def _name_taken(path: Path, *, kept: bytes, offered: bytes) -> NameTakenError:
    return NameTakenError(
        f"{path} is there already with other content ({len(kept)} bytes; {len(offered)} bytes were to be kept).",
        why="Kept files are never overwritten. Either other content was kept here before, or the file was damaged.",
        state="Nothing was sent to the aircraft for this. The file that is there was not touched.",
        todo=f"Look at the file; if it is not needed by this name, rename it to {path.name}.old, then say it again.",
        path=str(path),
    )


def _read_back_differs(path: Path, aside: Path) -> ReadBackDiffersError:
    return ReadBackDiffersError(
        f"{path} was written, but the disk gave back other bytes.",
        why="The disk, its card reader or the memory of this computer is failing.",
        state=f"Nothing was sent to the aircraft for this. The bad copy is now {aside.name}.",
        todo="Choose a hangar folder on another disk with ROTORWRIGHT_HANGAR, then say it again.",
        path=str(path),
    )


def _missing(path: Path) -> MissingFileError:
    return MissingFileError(
        f"{path} is not there any more.",
        why="It was kept by an earlier run; somebody moved or deleted it, or the disk lost it.",
        todo="Put the file back from a copy of the hangar folder, or start a new changeover for this aircraft.",
        path=str(path),
    )


def _damaged(path: Path, *, expected: str, found: str, size_bytes: int) -> DamagedFileError:
    return DamagedFileError(
        f"{path} is not as it was kept: its SHA-256 is {found}, it was {expected}.",
        why="Somebody changed the file, or the disk is failing.",
        state="Nothing was sent to the aircraft for this. The damaged file was not touched.",
        todo=f"Put {path.name} back from a copy of the hangar folder, or start a new changeover for this aircraft.",
        path=str(path),
        expected_sha256=expected,
        found_sha256=found,
        size_bytes=size_bytes,
    )
