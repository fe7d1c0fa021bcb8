"""The second form: any number of chains a case, folded names to search by, briefs, words, parts, and the knowledge.

No event is touched: the two tables get new names and columns, and what the new columns say is read from the openings.
Only SQLite had the first form.
"""

from __future__ import annotations

import json

import sqlalchemy as sa
from alembic import op

revision = "2"
down_revision = "1"


def upgrade() -> None:
    op.rename_table("cases", "chains")
    op.execute("ALTER TABLE events RENAME COLUMN case_id TO chain")
    for name in ("case_id", "aircraft_key", "position_key", "engine_key", "complaint_key", "knowledge"):
        op.add_column("chains", sa.Column(name, sa.Text, nullable=False, server_default=""))
    for name, value in (("drill", "0"), ("main", "1"), ("ends", "1"), ("known", "0")):
        op.add_column("chains", sa.Column(name, sa.Integer, nullable=False, server_default=value))
    _fill()
    op.create_index("chains_of_case", "chains", ["case_id"])
    op.create_index("chains_by_engine", "chains", ["aircraft_key", "position_key", "engine_key"])
    op.create_index("chains_by_last", "chains", ["last"])
    op.create_index("chains_by_opened", "chains", ["opened"])
    op.create_index("chains_by_knowledge", "chains", ["knowledge"])
    op.create_index("chains_behind", "chains", ["id"], sqlite_where=sa.text("known < events"))
    op.create_index("chains_open", "chains", ["case_id"], sqlite_where=sa.text("ended = 0"))
    op.create_index("chains_forked", "chains", ["case_id"], sqlite_where=sa.text("ends > 1"))
    for table, body in (
        ("briefs", (sa.Column("body", sa.Text, nullable=True), sa.Column("note", sa.Text, nullable=False))),
        ("words", (sa.Column("text", sa.Text, nullable=False),)),
    ):
        chain = sa.Column("chain", sa.Text, sa.ForeignKey("chains.id"), primary_key=True, nullable=False)
        op.create_table(table, chain, *body)
    op.create_table(
        "parts",
        sa.Column("serial", sa.Text, primary_key=True, nullable=False),
        sa.Column("chain", sa.Text, sa.ForeignKey("chains.id"), primary_key=True, nullable=False),
    )
    op.create_index("parts_of_chain", "parts", ["chain"])
    op.create_table(
        "knowledge",
        sa.Column("digest", sa.Text, primary_key=True, nullable=False),
        sa.Column("kept", sa.Text, nullable=False),
        sa.Column("archive", sa.LargeBinary, nullable=False),
    )


def _fill() -> None:
    connection = op.get_bind()
    names = ("aircraft", "position", "engine", "complaint")
    query = (
        f"SELECT chains.id, {', '.join(names)}, body FROM chains "
        "LEFT JOIN events ON events.chain = chains.id AND events.seq = 1"
    )
    rows = []
    for case, *said, body in connection.exec_driver_sql(query).all():
        keys = {f"{name}_key": str(value).strip().casefold() for name, value in zip(names, said, strict=True)}
        rows.append({"id_": case, **keys, **_told(body)})
    if rows:
        settings = ", ".join(f"{name} = :{name}" for name in rows[0] if name != "id_")
        connection.execute(sa.text(f"UPDATE chains SET case_id = :id_, {settings} WHERE id = :id_"), rows)


def _told(body: object) -> dict[str, object]:
    try:
        opening = json.loads(body) if isinstance(body, str) else {}
    except ValueError:
        opening = {}
    if not isinstance(opening, dict):
        opening = {}
    digest = opening.get("knowledge")
    return {"knowledge": digest if isinstance(digest, str) else "", "drill": int("drill" in opening)}
