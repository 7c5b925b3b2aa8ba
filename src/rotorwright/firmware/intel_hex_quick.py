"""The quick way through a sound Intel HEX file, all records at once; anything odd is left to the reader by lines.

Not one check is left out here: what this way takes, the reader by lines takes too, and with the same result (a law
that the tests hold). Only the words about what is wrong are missing, so it never raises; it answers None.
"""

from __future__ import annotations

from binascii import unhexlify
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, Final

from rotorwright.errors import ImageError
from rotorwright.firmware.image import ADDRESS_SPACE_END, Image

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

_LEAST_BYTES: Final = 4096  # below this, numpy would cost more than it brings
_MOST_OTHER_RECORDS: Final = 4096  # records that are no data; each is looked at by itself
_FRAME_BYTES: Final = 5
_DATA, _END, _SEGMENT_BASE, _SEGMENT_START, _LINEAR_BASE, _LINEAR_START = range(6)
_FORMS: Final = {_END: 0, _SEGMENT_BASE: 2, _SEGMENT_START: 4, _LINEAR_BASE: 2, _LINEAR_START: 4}
_COLON, _LF, _CR = b":\n\r"


@dataclass(frozen=True, slots=True)
class _Records:
    """All records of a file: their bytes in one row, and where each begins and what it is."""

    raw: NDArray[np.uint8]
    starts: NDArray[np.int64]
    sizes: NDArray[np.int64]  # with frame
    kinds: NDArray[np.uint8]
    addresses: NDArray[np.int64]  # the 16 bits that stand in the record


def read_quickly(data: bytes) -> Image | None:
    """Return the image in a plain and sound Intel HEX file; None where the reader by lines has to look.

    Plain: every line is a record that ends in LF or CRLF, in any order of addresses, with one end record as the last.
    """
    if len(data) < _LEAST_BYTES:
        return None
    records = _records(data)
    if records is None:
        return None
    placed = _placed(records)
    return None if placed is None else _assembled(records, *placed)


def _records(data: bytes) -> _Records | None:
    import numpy as np  # noqa: PLC0415 - kept off the start-up path

    text = np.frombuffer(data, dtype=np.uint8)
    ends = np.flatnonzero(text == _LF)
    if not len(ends) or ends[-1] != len(text) - 1:
        return None
    begins = np.concatenate((np.zeros(1, np.int64), ends[:-1] + 1))
    has_cr = text[np.maximum(ends - 1, 0)] == _CR
    lengths = ends - begins - has_cr
    plain = (
        bool((text[begins] == _COLON).all())
        and bool((lengths % 2 == 1).all())
        and data.count(b":") == len(ends)
        and data.count(b"\r") == int(has_cr.sum())
    )
    sizes = (lengths - 1) // 2
    if not plain or int(sizes.min()) < _FRAME_BYTES:
        return None
    try:
        raw = np.frombuffer(unhexlify(data.translate(None, b":\r\n")), dtype=np.uint8)
    except ValueError:
        return None
    starts = np.concatenate((np.zeros(1, np.int64), np.cumsum(sizes)[:-1]))
    sums = np.add.reduceat(raw, starts, dtype=np.uint8)
    if sums.any() or not np.array_equal(raw[starts] + np.int64(_FRAME_BYTES), sizes):
        return None
    addresses = raw[starts + 1].astype(np.int64) << 8 | raw[starts + 2]
    return _Records(raw, starts, sizes, raw[starts + 3], addresses)


def _placed(records: _Records) -> tuple[NDArray[np.int64], int | None] | None:
    """Return the whole address of each record and the start address; None if a record is odd."""
    import numpy as np  # noqa: PLC0415

    others = np.flatnonzero(records.kinds != _DATA)
    if len(others) > _MOST_OTHER_RECORDS or not len(others) or others[-1] != len(records.kinds) - 1:
        return None
    bases = np.zeros(len(records.kinds), np.int64)
    limits = np.full(len(records.kinds), 0x1_0000, np.int64)
    entries: set[int] = set()
    for index in others.tolist():
        kind, start, size = int(records.kinds[index]), int(records.starts[index]), int(records.sizes[index])
        if _FORMS.get(kind) != size - _FRAME_BYTES or (kind == _END) != (index == len(records.kinds) - 1):
            return None
        value = int.from_bytes(records.raw[start + 4 : start + size - 1].tobytes())
        if kind in {_SEGMENT_BASE, _LINEAR_BASE}:
            base = value << (16 if kind == _LINEAR_BASE else 4)
            bases[index:] = base
            limits[index:] = ADDRESS_SPACE_END if kind == _LINEAR_BASE else base + 0x1_0000
        elif kind != _END:
            entries.add(value if kind == _LINEAR_START else (value >> 16 << 4) + (value & 0xFFFF))
    addresses = records.addresses + bases
    too_far = (addresses + records.sizes - _FRAME_BYTES > limits) & (records.kinds == _DATA)
    if len(entries) > 1 or too_far.any():
        return None
    return addresses, next(iter(entries), None)


def _assembled(records: _Records, addresses: NDArray[np.int64], entry: int | None) -> Image | None:
    import numpy as np  # noqa: PLC0415

    is_data = records.kinds == _DATA
    frame = np.ones(len(records.raw), bool)
    for place in range(4):
        frame[records.starts + place] = False
    frame[records.starts + records.sizes - 1] = False
    for index in np.flatnonzero(~is_data).tolist():
        frame[records.starts[index] : records.starts[index] + records.sizes[index]] = False
    payload: Any = records.raw[frame].tobytes()
    firsts, counts = addresses[is_data], (records.sizes - _FRAME_BYTES)[is_data]
    if not len(payload):
        return None
    breaks = np.flatnonzero(firsts[1:] != firsts[:-1] + counts[:-1]) + 1
    heads = [0, *breaks.tolist()]
    offsets = np.concatenate((np.zeros(1, np.int64), np.cumsum(counts)))
    tails = [*heads[1:], len(counts)]
    try:
        return Image.of(
            (
                (int(firsts[head]), payload[int(offsets[head]) : int(offsets[tail])])
                for head, tail in zip(heads, tails, strict=True)
            ),
            entry=entry,
        )
    except ImageError:
        return None
