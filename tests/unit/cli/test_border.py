"""The border to the person: what an exception becomes."""

from __future__ import annotations

import pytest
import typer
from sqlalchemy import create_engine, text
from sqlalchemy.engine import RootTransaction

from rotorwright.cli.border import BUG, CANCELLED, run_guarded
from rotorwright.errors import LinkError


def _run(act: object) -> int:
    app = typer.Typer()

    @app.command()
    def do() -> None:
        assert callable(act)
        act()

    return run_guarded(app, [])


def _struck_while_committing() -> None:
    """Let Ctrl-C strike as the database library begins to commit: it then complains about its own state."""
    with create_engine("sqlite://").begin() as connection:
        connection.execute(text("select 1"))


def test_ctrl_c_inside_the_database_library_is_ctrl_c_and_no_defect(
    capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    def strike(_transaction: RootTransaction) -> None:
        raise KeyboardInterrupt

    monkeypatch.setattr(RootTransaction, "_do_commit", strike)
    with pytest.raises(AssertionError):  # else this test shows nothing: the library no longer hides it
        _struck_while_committing()
    assert _run(_struck_while_committing) == CANCELLED
    said = capsys.readouterr().err
    assert "Stopped by you" in said
    assert "defect" not in said


def test_a_library_that_complains_while_ctrl_c_passes_does_not_hide_it(capsys: pytest.CaptureFixture[str]) -> None:
    def act() -> None:
        try:
            raise KeyboardInterrupt
        finally:
            raise AssertionError

    assert _run(act) == CANCELLED
    assert "Stopped by you" in capsys.readouterr().err


def test_an_error_of_ours_that_closing_the_port_raised_does_not_hide_ctrl_c(capsys: pytest.CaptureFixture[str]) -> None:
    def act() -> None:
        try:
            raise KeyboardInterrupt
        finally:
            raise LinkError("The port has gone.", why="It was pulled.", todo="Plug it in.")

    assert _run(act) == CANCELLED
    assert "The port has gone" not in capsys.readouterr().err


def test_a_defect_stays_a_defect(
    capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch, tmp_path: object
) -> None:
    monkeypatch.setenv("XDG_STATE_HOME", str(tmp_path))

    def act() -> None:
        raise AssertionError

    assert _run(act) == BUG
    assert "defect" in capsys.readouterr().err
