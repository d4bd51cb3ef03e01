"""Which download each sample belongs to: that of the newest run around it."""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from sqlalchemy import Connection, select

from gwnet.store.models.base import known_on as on_record
from gwnet.store.models.loggers import Download, SampleRun


@dataclass(frozen=True)
class Runs:
    """Runs of one series in order of their downloads, newest last.

    Attributes
    ----------
    first_ms, last_ms : numpy.ndarray of int64
        Times of the first and last sample of each, shape (n,).
    download_id : numpy.ndarray of int64
        Download of each, shape (n,).
    on_record : numpy.ndarray of bool
        Whether the download is on record at the moment asked for, shape (n,).
    """

    first_ms: NDArray[np.int64]
    last_ms: NDArray[np.int64]
    download_id: NDArray[np.int64]
    on_record: NDArray[np.bool_]

    def owned_on_record(self, time_ms: NDArray[np.int64]) -> NDArray[np.bool_]:
        """Return which samples belong to downloads on record.

        Parameters
        ----------
        time_ms : numpy.ndarray of int64
            Ascending times of samples, shape (n,).

        Returns
        -------
        numpy.ndarray of bool
            Shape (n,).
        """
        place = self._newest(time_ms)
        # One more at the end answers for samples without a run, whose place is -1.
        return np.append(self.on_record, False)[place]

    def owners(self, time_ms: NDArray[np.int64]) -> NDArray[np.int64]:
        """Return the download that each sample belongs to, 0 where there is none.

        Parameters
        ----------
        time_ms : numpy.ndarray of int64
            Ascending times of samples, shape (n,).

        Returns
        -------
        numpy.ndarray of int64
            Shape (n,).
        """
        return np.append(self.download_id, 0)[self._newest(time_ms)]

    def _newest(self, time_ms: NDArray[np.int64]) -> NDArray[np.intp]:
        """Return the place of the newest run around each sample, -1 where there is none."""
        place = np.full(time_ms.size, -1, np.intp)
        starts = np.searchsorted(time_ms, self.first_ms).tolist()
        ends = np.searchsorted(time_ms, self.last_ms, side="right").tolist()
        for run, (start, end) in enumerate(zip(starts, ends, strict=True)):
            place[start:end] = run  # runs come oldest first, so the newest around a sample has the last word
        return place


def runs_of(connection: Connection, series_id: int, known_on: dt.datetime | None = None) -> Runs:
    """Return the runs of one series, those of downloads that were withdrawn among them.

    Parameters as `gwnet.store.fetch`.

    Parameters
    ----------
    known_on : datetime.datetime, optional
        Moment for which to say whether their downloads are on record.
    """
    rows = connection.execute(
        select(
            SampleRun.first_ms, SampleRun.last_ms, SampleRun.download_id, on_record(Download, known_on).label("counts")
        )
        .join(Download, Download.id == SampleRun.download_id)
        .where(SampleRun.series_id == series_id)
        .order_by(SampleRun.download_id, SampleRun.first_ms)
    ).all()
    first, last, download, counts = zip(*rows, strict=True) if rows else ((), (), (), ())
    return Runs(
        np.array(first, np.int64), np.array(last, np.int64), np.array(download, np.int64), np.array(counts, np.bool_)
    )
