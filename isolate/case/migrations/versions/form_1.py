"""The first form: cases, each with one chain of events."""

from __future__ import annotations

import sqlalchemy as sa
from alembic import op

revision = "1"
down_revision = None


def upgrade() -> None:
    op.create_table(
        "cases",
        sa.Column("id", sa.Text, primary_key=True, nullable=False),
        *(sa.Column(name, sa.Text, nullable=False) for name in ("opened", "last", "aircraft", "position", "engine")),
        sa.Column("complaint", sa.Text, nullable=False),
        sa.Column("ended", sa.Integer, nullable=False),
        sa.Column("events", sa.Integer, nullable=False),
        sa.Column("head", sa.Text, nullable=False),
    )
    op.create_table(
        "events",
        sa.Column("case_id", sa.Text, sa.ForeignKey("cases.id"), primary_key=True, nullable=False),
        sa.Column("seq", sa.Integer, sa.CheckConstraint("seq >= 1"), primary_key=True, nullable=False),
        *(sa.Column(name, sa.Text, nullable=False) for name in ("kind", "time", "body", "prev", "hash")),
    )
    op.execute(
        "CREATE TRIGGER events_stay BEFORE UPDATE ON events BEGIN SELECT RAISE(ABORT, 'an event is never changed'); END"
    )
    op.execute(
        "CREATE TRIGGER events_last BEFORE DELETE ON events BEGIN SELECT RAISE(ABORT, 'an event is never removed'); END"
    )
