"""One process at a time: a lock on a file, which the system takes back when the process dies, however it dies."""

from __future__ import annotations

import contextlib
import errno
import os
import sys
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from collections.abc import Iterator
    from pathlib import Path

if sys.platform == "win32":
    import msvcrt

    _FAR = 0x7FFF0000  # a byte past the end can be locked, and leaves the rest of the file readable

    def _try_lock(handle: int) -> bool:
        os.lseek(handle, _FAR, os.SEEK_SET)
        try:
            msvcrt.locking(handle, msvcrt.LK_NBLCK, 1)
        except OSError as error:
            if error.errno in {errno.EACCES, errno.EDEADLK}:
                return False
            raise
        return True

    def _unlock(handle: int) -> None:
        os.lseek(handle, _FAR, os.SEEK_SET)
        msvcrt.locking(handle, msvcrt.LK_UNLCK, 1)

else:
    import fcntl

    def _try_lock(handle: int) -> bool:
        try:
            fcntl.flock(handle, fcntl.LOCK_EX | fcntl.LOCK_NB)
        except OSError as error:
            if error.errno in {errno.EACCES, errno.EAGAIN}:
                return False
            raise
        return True

    def _unlock(handle: int) -> None:
        fcntl.flock(handle, fcntl.LOCK_UN)


@contextlib.contextmanager
def locked_file(path: Path) -> Iterator[int | None]:
    """Hold the lock on `path` while the context lasts and yield None; yield who holds it if it is not free.

    The file stays: removing it would let two processes hold locks on two files of one name. What is written in it is
    the number of the process that holds the lock, 0 when unknown, and is for people only.

    Raises:
        OSError: the file cannot be opened, or the file system knows no locks.
    """
    handle = os.open(path, os.O_RDWR | os.O_CREAT, 0o666)
    try:
        if not _try_lock(handle):
            yield _holder(handle)
            return
        try:
            _write_holder(handle)
            yield None
        finally:
            _unlock(handle)
    finally:
        os.close(handle)


def _holder(handle: int) -> int:
    os.lseek(handle, 0, os.SEEK_SET)
    text = os.read(handle, 20).strip()
    return int(text) if text.isdigit() else 0


def _write_holder(handle: int) -> None:
    os.ftruncate(handle, 0)
    os.lseek(handle, 0, os.SEEK_SET)
    os.write(handle, f"{os.getpid()}\n".encode())
