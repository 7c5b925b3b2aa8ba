from __future__ import annotations

import pytest

from rotorwright.settings.identity import Identity, UniqueIdError, release_line


@pytest.mark.parametrize(
    ("release", "line"),
    [("5.2.0", "5.2"), ("6.0", "6.0"), ("6.0.12-rc1", "6.0"), ("10.11.12", "10.11"), ("nightly", "nightly"), ("", "")],
)
def test_the_line_of_a_release_is_major_and_minor(release: str, line: str) -> None:
    assert release_line(release) == line


@pytest.mark.parametrize("unique_id", ["", "0" * 23, "0" * 25, "G" + "0" * 23, "A" * 24, "0" * 24 + "\n"])
def test_anything_but_24_lower_case_hexadecimal_digits_is_no_unique_id(unique_id: str) -> None:
    with pytest.raises(UniqueIdError) as caught:
        Identity(unique_id, "Thornbill", "5.2.0", "Corvane One", "")
    assert caught.value.todo
