"""The tables of the contract: headings to columns, cells to values, rows to the record, refusals with their place."""
