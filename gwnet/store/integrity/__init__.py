"""Integrity of the record: digests of states, the guards of its tables, and what contradicts them."""
