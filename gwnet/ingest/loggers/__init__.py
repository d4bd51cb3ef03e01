"""Logger files: layouts, what looking at a file proposes, reading in chunks, loading and withdrawing."""
