"""What is handed over: maps with their files, reports gathered from the record, the demo."""
