"""What travels with a report: its numbers as files, and the manifest."""
