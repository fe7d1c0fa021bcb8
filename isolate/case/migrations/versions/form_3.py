"""The third form: which end of a forked case is the main one goes by who signed and what has ended, then by length.

No event is touched. What is signed is read from the events; the main ends of the cases that forked are chosen again.
"""

from __future__ import annotations

import json

import sqlalchemy as sa
from alembic import op

revision = "3"
down_revision = "2"


def upgrade() -> None:
    op.add_column("chains", sa.Column("signed", sa.Integer, nullable=False, server_default="0"))
    connection = op.get_bind()
    query = (
        "SELECT one.chain, one.seq, one.body, other.seq, other.hash FROM events AS one "
        "JOIN events AS other ON other.chain = one.chain AND other.seq < one.seq WHERE one.kind = 'signed'"
    )
    signed = {row[0] for row in connection.exec_driver_sql(query) if _signs(row[2], row[3], row[4])}
    if signed:
        connection.execute(sa.text("UPDATE chains SET signed = 1 WHERE id = :id_"), [{"id_": key} for key in signed])
    query = "SELECT case_id, id FROM chains WHERE ends > 1 ORDER BY case_id, signed DESC, ended DESC, events DESC, head"
    mains: dict[str, str] = {}
    rows = [(case, key, mains.setdefault(case, key)) for case, key in connection.exec_driver_sql(query).all()]
    if rows:
        values = [{"id_": key, "main_": int(key == main)} for _, key, main in rows]
        connection.execute(sa.text("UPDATE chains SET main = :main_ WHERE id = :id_"), values)


def _signs(body: object, seq: object, own: object) -> bool:
    try:
        told = json.loads(body) if isinstance(body, str) else {}
    except ValueError:
        return False
    return isinstance(told, dict) and told.get("seq") == seq and told.get("hash") == own
