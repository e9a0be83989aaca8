"""Contacts, field definitions of other programs, and what sessions taught."""

import sqlalchemy as sa
from alembic import op

revision = "0001"
down_revision = None

_TEXTS = ("call", "band", "band_rx", "mode", "submode", "mode_group", "own_call", "locator", "prop_mode", "sat_name")


def upgrade() -> None:
    """Apply."""
    op.create_table(
        "contact",
        sa.Column("id", sa.Integer, primary_key=True),
        sa.Column("call", sa.Text, nullable=False),
        sa.Column("start_s", sa.Integer, nullable=False),
        sa.Column("stop_s", sa.Integer),
        sa.Column("band", sa.Text, nullable=False),
        sa.Column("band_rx", sa.Text, nullable=False),
        sa.Column("freq_hz", sa.Float),
        sa.Column("freq_rx_hz", sa.Float),
        *(sa.Column(name, sa.Text, nullable=False) for name in _TEXTS[3:]),
        sa.Column("entity", sa.Integer),
        sa.Column("continent", sa.Text, nullable=False),
        sa.Column("cq_zone", sa.Integer, nullable=False),
        sa.Column("itu_zone", sa.Integer, nullable=False),
        sa.Column("confirmed", sa.Integer, nullable=False),
        sa.Column("digest", sa.LargeBinary, nullable=False),
        sa.Column("fields", sa.Text, nullable=False),
    )
    op.create_index("contact_call", "contact", ["call", "start_s"])
    op.create_index("contact_start", "contact", ["start_s"])
    for name in ("entity", "cq_zone", "itu_zone", "locator"):
        op.create_index(f"contact_by_{name}", "contact", [name, "band", "mode_group", "confirmed"])
    op.create_table(
        "definition",
        sa.Column("name", sa.Text, primary_key=True),
        sa.Column("spelling", sa.Text, nullable=False),
        sa.Column("kind", sa.Text, nullable=False),
        sa.Column("limits", sa.Text, nullable=False),
    )
    op.create_table(
        "session",
        sa.Column("id", sa.Integer, primary_key=True),
        sa.Column("name", sa.Text, nullable=False, unique=True),
        sa.Column("start_s", sa.Integer, nullable=False),
        sa.Column("facts", sa.Text, nullable=False),
    )
