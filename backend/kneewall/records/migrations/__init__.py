"""The database's history, oldest first; Alembic walks it."""
