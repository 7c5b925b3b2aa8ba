from __future__ import annotations

import pytest

from rotorwright.settings.policies import (
    Base,
    ClassChoice,
    Policy,
    PolicyError,
    PolicySettingError,
    SettingChoice,
    SettingClass,
)


def test_the_text_of_a_policy_is_in_one_order() -> None:
    policy = Policy.parse(" same-feel ;set.B=leave-out; class.feel=keep;class.board = hold;; set.A=take-new-default ")
    assert policy == Policy(
        Base.SAME_FEEL,
        ((SettingClass.BOARD, ClassChoice.HOLD), (SettingClass.FEEL, ClassChoice.KEEP)),
        (("A", SettingChoice.TAKE_NEW_DEFAULT), ("B", SettingChoice.LEAVE_OUT)),
    )
    assert policy.text == "same-feel; class.board=hold; class.feel=keep; set.A=take-new-default; set.B=leave-out"


def test_nothing_is_careful_and_so_are_overrides_alone() -> None:
    assert Policy.parse("") == Policy.parse("careful") == Policy()
    assert Policy.parse("class.board=hold").text == "careful; class.board=hold"


def test_odd_names_stand_in_quotes() -> None:
    policy = Policy(settings=(('a; "b"=c', SettingChoice.KEEP_MINE),))
    assert policy.text == 'careful; set."a; \\"b\\"=c"=keep-mine'
    assert Policy.parse(policy.text) == policy


@pytest.mark.parametrize(
    ("text", "words", "meant"),
    [
        ("carefull", "'carefull' is no policy", "careful"),
        ("careful; class.boards=hold", "no class of settings", "board"),
        ("careful; class.board=keeep", "no choice for the class board", "keep"),
        ("careful; set.A=keep", "no choice for A", "keep-mine"),
        ("careful; same-feel", "stands where an override is expected", ""),
        ("class.board=hold; careful", "stands where an override is expected", ""),
        ("careful; set.A", "'set.A' is no override", ""),
        ("careful; set.A=keep-mine; set.A=leave-out", "it speaks of A twice", ""),
        ("careful; class.board=hold; class.board=keep", "it speaks of board twice", ""),
        ('careful; set."A=keep-mine', "has no end", ""),
        ('careful; set."\\q"=keep-mine', "cannot be read as a name in quotes", ""),
    ],
)
def test_a_mistyped_policy_is_refused_with_what_was_likely_meant(text: str, words: str, meant: str) -> None:
    with pytest.raises(PolicyError) as caught:
        Policy.parse(text)
    assert words.lower() in caught.value.why.lower()
    if meant:
        assert repr(meant) in caught.value.todo


def test_a_setting_that_nobody_has_is_refused_with_what_was_likely_meant() -> None:
    policy = Policy.parse("careful; set.LOP_RATE=keep-mine")
    with pytest.raises(PolicySettingError, match="LOP_RATE") as caught:
        policy.require_known(["LOOP_RATE", "OTHER"])
    assert "LOOP_RATE" in caught.value.todo
    policy.require_known(["LOP_RATE"])
