"""The second form: the library of captured defaults."""

from __future__ import annotations

import sqlalchemy as sa
from alembic import op

revision = "0002"
down_revision = "0001"
branch_labels = None
depends_on = None


def upgrade() -> None:
    """Make the table, and let SQLite itself refuse to change or remove a row."""
    op.create_table(
        "captured_defaults",
        sa.Column("number", sa.Integer, primary_key=True),
        sa.Column("family", sa.Text, nullable=False),
        sa.Column("release", sa.Text, nullable=False),
        sa.Column("board", sa.Text, nullable=False),
        sa.Column("build", sa.Text, nullable=False),
        sa.Column("read_by", sa.Text, nullable=False),
        sa.Column("unique_id", sa.Text, nullable=False),
        sa.Column("captured_at", sa.Text, nullable=False),
        sa.Column("settings", sa.Integer, nullable=False),
        sa.Column("snapshot_sha256", sa.Text, nullable=False),
        sa.Column("values_sha256", sa.Text, nullable=False),
        sa.Column("file", sa.Text, nullable=False),
        sa.Column("file_sha256", sa.Text, nullable=False),
        sa.Column("file_bytes", sa.Integer, nullable=False),
        sa.Column("catalogue", sa.Text, nullable=True),
        sa.Column("catalogue_sha256", sa.Text, nullable=True),
        sa.Column("catalogue_bytes", sa.Integer, nullable=True),
    )
    op.create_index("ix_captured_defaults_key", "captured_defaults", ["family", "release", "board", "read_by"])
    if op.get_bind().dialect.name == "sqlite":
        for act in ("UPDATE", "DELETE"):
            op.execute(
                f"CREATE TRIGGER captured_defaults_no_{act.lower()} BEFORE {act} ON captured_defaults "
                "BEGIN SELECT RAISE(ABORT, 'rows of captured_defaults are only ever added'); END"
            )
