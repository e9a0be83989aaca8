"""How the store came to its present tables, step by step (Alembic)."""
