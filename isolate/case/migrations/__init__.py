"""How a store of an older form is brought to the present one; Alembic reads the files of ``versions``."""
