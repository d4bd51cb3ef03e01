"""Files to rows: reading, checking and recording the tables of the contract."""
