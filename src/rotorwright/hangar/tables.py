"""The tables of the hangar in the newest form. The migrations make them; a test holds the two together.

Rows are only ever added. Of an aircraft every sighting is kept, so nothing that was known of it is written over.
"""

from __future__ import annotations

from sqlalchemy import Column, ForeignKey, Index, Integer, MetaData, Table, Text

METADATA = MetaData()

SIGHTINGS = Table(
    "sightings",
    METADATA,
    Column("number", Integer, primary_key=True),
    Column("unique_id", Text, nullable=False, index=True),
    Column("family", Text, nullable=False),
    Column("release", Text, nullable=False),
    Column("board", Text, nullable=False),
    Column("airframe", Text, nullable=False),
    Column("seen_at", Text, nullable=False),
)

CHANGEOVERS = Table(
    "changeovers",
    METADATA,
    Column("number", Integer, primary_key=True),
    Column("unique_id", Text, nullable=False),
    Column("started_at", Text, nullable=False),
)

EVENTS = Table(
    "events",
    METADATA,
    Column("changeover", Integer, ForeignKey("changeovers.number"), primary_key=True),
    Column("sequence", Integer, primary_key=True, autoincrement=False),
    Column("kind", Text, nullable=False),
    Column("facts", Text, nullable=False),  # canonical JSON, RFC 8785
    Column("at", Text, nullable=False),
    Column("previous_sha256", Text, nullable=False),
    Column("sha256", Text, nullable=False),
)

CAPTURED_DEFAULTS = Table(
    "captured_defaults",
    METADATA,
    Column("number", Integer, primary_key=True),
    Column("family", Text, nullable=False),
    Column("release", Text, nullable=False),
    Column("board", Text, nullable=False),
    Column("build", Text, nullable=False),
    Column("read_by", Text, nullable=False),
    Column("unique_id", Text, nullable=False),
    Column("captured_at", Text, nullable=False),
    Column("settings", Integer, nullable=False),
    Column("snapshot_sha256", Text, nullable=False),  # of the snapshot without its time
    Column("values_sha256", Text, nullable=False),  # of names, types and values alone: equal on equal aircraft
    Column("file", Text, nullable=False),
    Column("file_sha256", Text, nullable=False),
    Column("file_bytes", Integer, nullable=False),
    Column("catalogue", Text, nullable=True),
    Column("catalogue_sha256", Text, nullable=True),
    Column("catalogue_bytes", Integer, nullable=True),
    Index("ix_captured_defaults_key", "family", "release", "board", "read_by"),
)
