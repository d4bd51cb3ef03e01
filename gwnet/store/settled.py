"""Questions about an instant that the record may not have passed yet: they wait for whoever is writing.

A unit of work gets its instant when it gets the write lock, and others see its rows when it ends. A question about an
instant between the two would be answered without these rows now and with them later.
"""

from __future__ import annotations

import datetime as dt
from typing import TYPE_CHECKING

from gwnet.store.work import newest_state

if TYPE_CHECKING:
    from gwnet.store.session import Store


def wait_until_settled(store: Store, asked: dt.datetime | str | None) -> None:
    """Wait until no unit of work is open whose rows could still come to an instant that is asked about.

    Parameters
    ----------
    store : gwnet.store.session.Store
        Open database.
    asked : datetime.datetime, str or None
        Aware time; later units of work get an instant after it, once it is not in the future. Nobody waits for a state
        by its number, or for the record as it is.

    Raises
    ------
    StoreError
        If another program holds the write lock and does not get on.
    """
    if not isinstance(asked, dt.datetime):
        return
    with store.reading() as connection:
        newest = newest_state(connection)
        # A state at or after the instant exists: nothing can come to it any more.
        if newest is not None and newest["recorded_at_utc"] >= asked:
            return  # states follow one another in time
    with store.altering() as connection:  # SQLite takes no lock where the file cannot be written
        connection.exec_driver_sql("SELECT 1")  # the lock is held, so nobody else is writing
