"""Whatever is plugged and pulled between two looks, exactly the comings and goings are told."""

from __future__ import annotations

from itertools import pairwise

from hypothesis import given
from hypothesis import strategies as st

from rotorwright.links.ports import PortChange, PortInfo, PortKind, UsbIds, watch_ports
from rotorwright.twin.clock import VirtualClock

PORTS = st.builds(
    PortInfo,
    name=st.sampled_from(["/dev/ttyACM0", "/dev/ttyACM1", "usb 1-1"]),
    kind=st.sampled_from([PortKind.USB, PortKind.DEVICE]),
    leads_to=st.sampled_from(["", "/dev/bus/usb/001/002"]),
    usb=st.none() | st.builds(UsbIds, vendor=st.just(1), product=st.just(2), serial_number=st.sampled_from(["", "A"])),
)
LISTINGS = st.lists(st.lists(PORTS, max_size=4, unique=True).map(tuple), min_size=1, max_size=8)


@given(LISTINGS)
def test_any_sequence_of_listings_gives_exactly_the_comings_and_goings(listings: list[tuple[PortInfo, ...]]) -> None:
    looks = iter(listings)
    told = watch_ports(VirtualClock(), look=lambda: next(looks), timeout_s=0.25 * (len(listings) - 1))
    # Two sets of values compared by themselves are the oracle: nothing of the watcher is used here.
    expected: list[set[tuple[PortChange, PortInfo]]] = [
        {(PortChange.WENT, port) for port in set(one) - set(two)}
        | {(PortChange.CAME, port) for port in set(two) - set(one)}
        for one, two in pairwise(listings)
    ]
    for changes in expected:
        if not changes:
            assert next(told) is None
            continue
        events = [next(told) for _ in changes]
        assert {(event.change, event.port) for event in events if event is not None} == changes
        kinds = [event.change for event in events if event is not None]
        assert kinds == sorted(kinds, key=lambda change: change is PortChange.CAME)
    assert next(told, "the end") == "the end"
