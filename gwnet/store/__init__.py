"""The database and nothing else: schema, sessions, revisions, queries."""
