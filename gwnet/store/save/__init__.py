"""Writing: rows added or retired, never altered."""
