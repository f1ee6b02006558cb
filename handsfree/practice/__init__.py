"""The practice's shared store: confirmed entries sent to a PostgreSQL server (extra `practice`).

Nothing else needs it. `rows` reads them from a log, `store` is the server's side.
"""
