from __future__ import annotations

from tools.list_commands import PAGE, page


def test_the_page_of_commands_says_what_the_commands_say_of_themselves() -> None:
    assert PAGE.read_text(encoding="utf-8") == page(), "run `make commands-page`"
