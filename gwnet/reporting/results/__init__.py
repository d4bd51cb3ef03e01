"""What a report found, worked out in sentences: the same on its first page, in its summary and in its sections."""
