"""The schema: one class a table, the recorded-row mixin and the `known_on` filter."""
