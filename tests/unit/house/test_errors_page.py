"""The page of errors is made from the code, and every error a person may see can be found on it."""

from __future__ import annotations

from collections import Counter

from tools.list_errors import PAGE, error_classes, family_of, first_line, page


def test_the_page_lists_every_error_as_the_code_has_it() -> None:
    assert PAGE.read_text(encoding="utf-8") == page(), "docs/reference/errors.md lags behind the code: make errors-page"


def test_every_id_belongs_to_one_error_only() -> None:
    counted = Counter(error.id for error in error_classes())
    shared = {error.__name__: error.id for error in error_classes() if counted[error.id] > 1}
    assert shared == {}


def test_every_id_is_short_lower_case_and_starts_with_no_family_of_another_kind() -> None:
    for error in error_classes():
        assert error.id == error.id.lower()
        assert " " not in error.id
        assert len(error.id) <= 48


def test_every_error_class_says_what_it_means_and_names_itself_an_error() -> None:
    assert [error.__name__ for error in error_classes() if not error.__name__.endswith("Error")] == []
    assert [error.__name__ for error in error_classes() if not first_line(error)] == []


def test_every_error_has_a_documented_exit_code() -> None:
    documented = (PAGE.parent / "exit-codes.md").read_text(encoding="utf-8")
    assert [e.__name__ for e in error_classes() if f"| {e.exit_code} |" not in documented] == []
    assert len({family_of(error) for error in error_classes()}) >= 7
