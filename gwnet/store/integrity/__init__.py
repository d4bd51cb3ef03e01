"""Integrity of the record: digests of states, the guards of its tables, and what contradicts them.

A check takes a connection and yields its findings, one by one. Parameters that recur:

Parameters
----------
connection : sqlalchemy.Connection
    Connection to read from.
"""
