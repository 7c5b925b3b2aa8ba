"""The first form: sightings of aircraft, changeovers, and their journals."""

from __future__ import annotations

import sqlalchemy as sa
from alembic import op

revision = "0001"
down_revision = None
branch_labels = None
depends_on = None

_APPEND_ONLY = ("sightings", "changeovers", "events")


def upgrade() -> None:
    """Make the tables, and let SQLite itself refuse to change or remove a row."""
    op.create_table(
        "sightings",
        sa.Column("number", sa.Integer, primary_key=True),
        sa.Column("unique_id", sa.Text, nullable=False),
        sa.Column("family", sa.Text, nullable=False),
        sa.Column("release", sa.Text, nullable=False),
        sa.Column("board", sa.Text, nullable=False),
        sa.Column("airframe", sa.Text, nullable=False),
        sa.Column("seen_at", sa.Text, nullable=False),
    )
    op.create_index("ix_sightings_unique_id", "sightings", ["unique_id"])
    op.create_table(
        "changeovers",
        sa.Column("number", sa.Integer, primary_key=True),
        sa.Column("unique_id", sa.Text, nullable=False),
        sa.Column("started_at", sa.Text, nullable=False),
    )
    op.create_table(
        "events",
        sa.Column("changeover", sa.Integer, sa.ForeignKey("changeovers.number"), primary_key=True),
        sa.Column("sequence", sa.Integer, primary_key=True, autoincrement=False),
        sa.Column("kind", sa.Text, nullable=False),
        sa.Column("facts", sa.Text, nullable=False),
        sa.Column("at", sa.Text, nullable=False),
        sa.Column("previous_sha256", sa.Text, nullable=False),
        sa.Column("sha256", sa.Text, nullable=False),
    )
    if op.get_bind().dialect.name == "sqlite":
        for table in _APPEND_ONLY:
            _refuse(table, "UPDATE")
            _refuse(table, "DELETE")


def _refuse(table: str, act: str) -> None:
    op.execute(
        f"CREATE TRIGGER {table}_no_{act.lower()} BEFORE {act} ON {table} "
        f"BEGIN SELECT RAISE(ABORT, 'rows of {table} are only ever added'); END"
    )
