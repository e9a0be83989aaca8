"""The tables of the store, as the newest migration leaves them. A test holds the two together."""

from __future__ import annotations

from sqlalchemy import Column, Float, Index, Integer, LargeBinary, MetaData, Table, Text

metadata = MetaData()

contacts = Table(
    "contact",
    metadata,
    Column("id", Integer, primary_key=True),
    Column("call", Text, nullable=False),
    Column("start_s", Integer, nullable=False),
    Column("stop_s", Integer),
    Column("band", Text, nullable=False),
    Column("band_rx", Text, nullable=False),
    Column("freq_hz", Float),
    Column("freq_rx_hz", Float),
    Column("mode", Text, nullable=False),
    Column("submode", Text, nullable=False),
    Column("mode_group", Text, nullable=False),
    Column("own_call", Text, nullable=False),
    Column("locator", Text, nullable=False),
    Column("prop_mode", Text, nullable=False),
    Column("sat_name", Text, nullable=False),
    Column("entity", Integer),
    Column("continent", Text, nullable=False),
    Column("cq_zone", Integer, nullable=False),
    Column("itu_zone", Integer, nullable=False),
    Column("confirmed", Integer, nullable=False),
    Column("digest", LargeBinary, nullable=False),
    Column("fields", Text, nullable=False),
    Index("contact_call", "call", "start_s"),
    Index("contact_start", "start_s"),
    # Each holds all that counting needs, so that needs are answered from the index alone
    Index("contact_by_entity", "entity", "band", "mode_group", "confirmed"),
    Index("contact_by_cq_zone", "cq_zone", "band", "mode_group", "confirmed"),
    Index("contact_by_itu_zone", "itu_zone", "band", "mode_group", "confirmed"),
    Index("contact_by_locator", "locator", "band", "mode_group", "confirmed"),
)

definitions = Table(
    "definition",
    metadata,
    Column("name", Text, primary_key=True),
    Column("spelling", Text, nullable=False),
    Column("kind", Text, nullable=False),
    Column("limits", Text, nullable=False),
)

sessions = Table(
    "session",
    metadata,
    Column("id", Integer, primary_key=True),
    Column("name", Text, nullable=False, unique=True),
    Column("start_s", Integer, nullable=False),
    Column("facts", Text, nullable=False),
)
