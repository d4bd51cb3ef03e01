"""One finding about a logger, and the correction that a person may apply because of it, as a command."""

from __future__ import annotations

import hashlib
import json
import shlex
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any, Final

import numpy as np
import pandas as pd

from gwnet.analysis.loggers.correction_kinds import PARAMETERS

#: Columns of the frame of findings.
FINDING_COLUMNS: Final = tuple(
    "finding site well instrument quantity rule start_utc end_utc message suggestion".split()
)

#: No moment: an open edge of a span.
NAT: Final = np.datetime64("NaT", "us")


@dataclass(frozen=True)
class LoggerFinding:
    """What was noticed about a logger.

    Attributes
    ----------
    site, well, instrument, quantity : str
        Where; the well is empty for a barometer.
    rule : str
        Which rule noticed it.
    start_utc, end_utc : numpy.datetime64
        When, from the first to the last sample concerned; NaT for no time of its own.
    message : str
        What was found.
    kind : str
        Kind of correction that would fix it; empty for none.
    parameters : mapping
        Its parameters.
    from_utc, to_utc : numpy.datetime64
        Its half-open span; NaT for open.
    """

    site: str
    well: str
    instrument: str
    quantity: str
    rule: str
    start_utc: np.datetime64
    end_utc: np.datetime64
    message: str
    kind: str = ""
    parameters: Mapping[str, Any] = field(default_factory=dict)
    from_utc: np.datetime64 = NAT
    to_utc: np.datetime64 = NAT

    def key(self) -> str:
        """Return a short name of the finding: the same as long as rule, place, span and correction are the same."""
        facts = [self.instrument, self.quantity, self.rule, self.kind, dict(self.parameters)]
        facts += [str(moment) for moment in (self.start_utc, self.end_utc, self.from_utc, self.to_utc)]
        # Eight digits of the digest: short enough to type, and some thousand findings hardly ever collide.
        return hashlib.sha256(json.dumps(facts, sort_keys=True).encode()).hexdigest()[:8]

    def command(self) -> str:
        """Return the command that would apply the correction; empty for none."""
        if not self.kind:
            return ""
        words = ["gwnet logger correct", shlex.quote(self.instrument), shlex.quote(self.kind)]
        words += [f"--series {shlex.quote(self.quantity)}"]
        for word, moment in (("--from", self.from_utc), ("--to", self.to_utc)):
            if not np.isnat(moment):
                words.append(f"{word} {describe_moment(moment)}")
        for name, value in self.parameters.items():
            for item in value if isinstance(value, list) else [value]:
                text = f"{item:g}" if isinstance(item, float) else str(item)
                words.append(f"{PARAMETERS[name].option} {shlex.quote(text)}")
        return " ".join([*words, "--reason TEXT"])


def describe_moment(moment: np.datetime64) -> str:
    """Return an instant as the command line takes it.

    Parameters as `gwnet.analysis.loggers`.

    Returns
    -------
    str
        ISO 8601 with a Z, without seconds where they are zero.
    """
    text = str(np.datetime_as_string(moment.astype("datetime64[s]"), unit="s"))
    return text.removesuffix(":00") + "Z"


def span_around(first: np.datetime64, last: np.datetime64) -> tuple[np.datetime64, np.datetime64]:
    """Return the half-open span, in whole seconds, that holds samples from a first to a last one.

    Parameters
    ----------
    first, last : numpy.datetime64
        Instants of the samples.

    Returns
    -------
    tuple of numpy.datetime64
        Start and end of the span.
    """
    # One second after the last sample, as spans are half-open and end on whole seconds.
    start, end = first.astype("datetime64[s]"), last.astype("datetime64[s]") + np.timedelta64(1, "s")
    return start.astype("datetime64[us]"), end.astype("datetime64[us]")


def findings_frame(findings: Sequence[LoggerFinding]) -> pd.DataFrame:
    """Return findings as a frame.

    Parameters
    ----------
    findings : sequence of LoggerFinding
        Findings.

    Returns
    -------
    pandas.DataFrame
        Columns of `FINDING_COLUMNS`; ``finding`` is the name by which one is accepted.
    """
    names = ("site", "well", "instrument", "quantity", "rule", "start_utc", "end_utc", "message")
    rows = [(each.key(), *(getattr(each, name) for name in names), each.command()) for each in findings]
    table = pd.DataFrame(rows, columns=list(FINDING_COLUMNS))
    for name in ("start_utc", "end_utc"):
        table[name] = pd.to_datetime(pd.Series(list(table[name]), dtype="datetime64[us]")).dt.tz_localize("UTC")
    return table


def count_samples(count: int) -> str:
    """Return a number of samples in words.

    Parameters
    ----------
    count : int
        How many.

    Returns
    -------
    str
        For example ``3 samples``.
    """
    return "1 sample" if count == 1 else f"{count} samples"
