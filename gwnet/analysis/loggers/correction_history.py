"""The correction history of a logger: the kinds of correction, what each needs, and what is on record for a series.

Spans are half-open and in UTC. Clock operations are meant by the clock of the file, everything else by true time, that
is after the clock was put right.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import Any, Final

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from gwnet.errors import AnalysisError
from gwnet.hydro.arrays import Floats, Instants
from gwnet.hydro.loggers.clock_shift import ClockOperation

#: Why a sample may be excluded by a person.
CAUSES: Final = (
    "spike",
    "step",
    "flat",
    "bottomed out",
    "out of water",
    "frozen",
    "over range",
    "slipped cable",
    "clock",
    "other",
)

#: Why a sample gives no water elevation; the number kept with a sample is its place here, 0 for one that is used.
OUT_REASONS: Final = ("", "no value", "no air pressure", "no density", "not anchored", *CAUSES)

#: Ways of anchoring to manual readings; none takes the hanging depth.
METHODS: Final = ("linear", "constant", "none")


@dataclass(frozen=True)
class Kind:
    """One kind of correction.

    Attributes
    ----------
    name : str
        Its word.
    parameters : dict
        What it needs or may have, with a check that turns what was given into what is stored.
    required : tuple of str
        Those that must be given; of a group written ``a|b`` exactly one.
    spans : str
        ``start``: needs a start; ``both``: a start and an end; ``any``: either may be open.
    says : str
        What it does.
    """

    name: str
    parameters: dict[str, Callable[[Any], Any]]
    required: tuple[str, ...]
    spans: str
    says: str


def _finite(value: Any) -> float:
    number = float(value)
    if not np.isfinite(number):
        raise ValueError
    return number


def _positive(value: Any) -> float:
    number = _finite(value)
    if number <= 0:
        raise ValueError
    return number


def _between(low: float, high: float) -> Callable[[Any], float]:
    def check(value: Any) -> float:
        number = _finite(value)
        if not low <= number <= high:
            raise ValueError
        return number

    return check


def _one_of(words: tuple[str, ...]) -> Callable[[Any], str]:
    def check(value: Any) -> str:
        if value not in words:
            raise ValueError
        return str(value)

    return check


def _temperature(value: Any) -> float | str:
    return "series" if value == "series" else _between(0, 40)(value)


def _events(value: Any) -> list[int]:
    return sorted({int(number) for number in value})


#: The kinds of correction by their word.
KINDS: Final[dict[str, Kind]] = {
    kind.name: kind
    for kind in (
        Kind("clock shift", {"seconds": _finite}, ("seconds",), "any", "added to the times of the span"),
        Kind("clock drift", {"seconds": _finite}, ("seconds",), "both", "grows evenly over the span from 0"),
        Kind("scale", {"factor": _positive}, ("factor",), "any", "factor on the values of the span"),
        Kind("step", {"amount_m": _finite}, ("amount_m",), "start", "added to the level from the start on"),
        Kind("exclusion", {"cause": _one_of(CAUSES)}, ("cause",), "any", "samples of the span are left out"),
        Kind("restart", {}, (), "start", "anchoring starts anew: sensor moved, cable slipped"),
        Kind(
            "anchoring",
            {"method": _one_of(METHODS), "leave_out": _events},
            (),
            "any",
            "how levels are tied to manual readings, and which of these not to use",
        ),
        Kind(
            "density",
            {"temperature": _temperature, "kg_m3": _between(900, 1400), "gravity_m_s2": _between(9.7, 9.9)},
            ("temperature|kg_m3",),
            "any",
            "density of the water, and gravity",
        ),
        Kind(
            "efficiency", {"value": _between(0, 1)}, ("value",), "any", "answer of the aquifer to the air is taken out"
        ),
    )
}


def checked_parameters(kind: str, given: Mapping[str, Any], *, start: object, end: object) -> dict[str, Any]:
    """Return the parameters of a correction as they are stored.

    Parameters
    ----------
    kind : str
        Kind of correction.
    given : mapping
        Parameters as given; None counts as not given.
    start, end : object
        Start and end of the span; None for open.

    Returns
    -------
    dict
        Parameters that hold for the kind.

    Raises
    ------
    AnalysisError
        If the kind is unknown, a parameter is missing, unknown or wrong, or the span does not serve the kind.
    """
    if kind not in KINDS:
        message = f"There is no correction {kind!r}."
        raise AnalysisError(message, fix=f"One of: {', '.join(KINDS)}.")
    what = KINDS[kind]
    have = {name: value for name, value in given.items() if value is not None and value != ()}
    unknown = [name for name in have if name not in what.parameters]
    if unknown:
        taken = ", ".join(what.parameters) or "none"
        message = f"Correction {kind!r} has no parameter {', '.join(unknown)}."
        raise AnalysisError(message, fix=f"It takes: {taken}.")
    for group in what.required:
        if sum(name in have for name in group.split("|")) != 1:
            wanted = group.replace("|", " or ")
            message = f"Correction {kind!r} needs {wanted}{' and not both' if '|' in group else ''}."
            raise AnalysisError(message, fix=f"It is {what.says}.")
    parameters = {name: _checked(kind, name, what.parameters[name], value) for name, value in have.items()}
    _check_span(what, start, end)
    return parameters


def _checked(kind: str, name: str, check: Callable[[Any], Any], value: Any) -> Any:
    try:
        return check(value)
    except (TypeError, ValueError):
        message = f"{value!r} does not serve as {name} of {kind!r}."
        raise AnalysisError(message, fix=_EXPECTED.get(name, "Give a number.")) from None


_EXPECTED: Final = {
    "cause": f"One of: {', '.join(CAUSES)}.",
    "method": f"One of: {', '.join(METHODS)}.",
    "value": "Give a barometric efficiency from 0 to 1.",
    "factor": "Give a number above zero.",
    "temperature": "Give 'series', or degrees Celsius from 0 to 40.",
    "kg_m3": "Give kilograms a cubic metre, from 900 to 1400.",
    "gravity_m_s2": "Give metres a second squared, from 9.7 to 9.9.",
    "leave_out": "Give numbers of level events.",
}


def _check_span(kind: Kind, start: object, end: object) -> None:
    missing = (kind.spans in ("start", "both") and start is None) or (kind.spans == "both" and end is None)
    if missing:
        wanted = "a start and an end" if kind.spans == "both" else "a start"
        message = f"Correction {kind.name!r} needs {wanted}."
        raise AnalysisError(message, fix="Give --from" + (" and --to." if kind.spans == "both" else "."))
    if kind.name == "exclusion" and start is None and end is None:
        message = "An exclusion without a start and an end would leave out everything."
        raise AnalysisError(message, fix="Give --from or --to.")


@dataclass(frozen=True)
class CorrectionHistory:
    """Corrections on record for one quantity of one instrument.

    Attributes
    ----------
    rows : pandas.DataFrame
        Rows of `gwnet.store.fetch.samples.corrections`, in order of recording.
    """

    rows: pd.DataFrame

    def of(self, kind: str) -> pd.DataFrame:
        """Return the rows of one kind.

        Parameters
        ----------
        kind : str
            Word of the kind.

        Returns
        -------
        pandas.DataFrame
            Its rows, in order of recording.
        """
        return self.rows[self.rows["kind"] == kind]

    def of_series(self, series_id: int) -> CorrectionHistory:
        """Return the corrections of one series alone.

        Parameters
        ----------
        series_id : int
            One segment of the quantity. Clock and factor fix how the samples of a segment were read, and hold for it
            alone.

        Returns
        -------
        CorrectionHistory
            Its corrections.
        """
        return CorrectionHistory(self.rows[self.rows["series_id"] == series_id])

    def clock(self) -> list[ClockOperation]:
        """Return the corrections of the clock."""
        found = []
        for row in self.rows[self.rows["kind"].isin(["clock shift", "clock drift"])].itertuples():
            start, end = instant(row.start_utc), instant(row.end_utc)
            found.append(ClockOperation(start, end, float(row.parameters["seconds"]), row.kind == "clock drift"))
        return found

    def restarts(self) -> Instants:
        """Return the moments at which anchoring starts anew."""
        return np.array([instant(start) for start in self.of("restart")["start_utc"]], dtype="datetime64[us]")

    def settings(self, kind: str, start: Any, end: Any) -> dict[str, Any]:
        """Return the parameters of a kind that holds for whole deployments.

        Parameters
        ----------
        kind : str
            ``anchoring``, ``density`` or ``efficiency``.
        start, end : pandas.Timestamp or NaT
            Span of the deployment.

        Returns
        -------
        dict
            Parameters of the rows whose span meets that of the deployment, a later row before an earlier one (events
            left out add up); empty where none is on record.
        """
        found: dict[str, Any] = {}
        for row in self.of(kind).itertuples():
            after = not pd.isna(row.start_utc) and not pd.isna(end) and row.start_utc >= end
            before = not pd.isna(row.end_utc) and not pd.isna(start) and row.end_utc <= start
            if after or before:
                continue
            left_out = {*found.get("leave_out", []), *row.parameters.get("leave_out", [])}
            found = dict(row.parameters) if kind == "density" else {**found, **row.parameters}
            if left_out:
                found["leave_out"] = sorted(left_out)
        return found

    def scaled(self, when: Instants, values: Floats) -> Floats:
        """Return values times the factors on record.

        Parameters
        ----------
        when : numpy.ndarray of datetime64[us], shape (n,)
            Times put right, rising.
        values : numpy.ndarray, shape (n,)
            Values.

        Returns
        -------
        numpy.ndarray, shape (n,)
            Scaled values.
        """
        return self._spanned("scale", when, values, lambda part, row: part * float(row.parameters["factor"]))

    def stepped(self, when: Instants, level_m: Floats) -> Floats:
        """Return levels with the steps on record added.

        Parameters
        ----------
        when : numpy.ndarray of datetime64[us], shape (n,)
            Times put right, rising.
        level_m : numpy.ndarray, shape (n,)
            Levels, positive upward [m].

        Returns
        -------
        numpy.ndarray, shape (n,)
            Levels [m].
        """
        return self._spanned("step", when, level_m, lambda part, row: part + float(row.parameters["amount_m"]))

    def excluded(self, when: Instants) -> NDArray[np.uint8]:
        """Return which samples a person excluded.

        Parameters
        ----------
        when : numpy.ndarray of datetime64[us], shape (n,)
            Times put right, rising.

        Returns
        -------
        numpy.ndarray of uint8, shape (n,)
            0, or the place of the cause in `OUT_REASONS`.
        """
        out = np.zeros(when.size, dtype=np.uint8)
        for row in self.of("exclusion").itertuples():
            out[within(when, row.start_utc, row.end_utc)] = OUT_REASONS.index(row.parameters["cause"])
        return out

    def _spanned(self, kind: str, when: Instants, values: Floats, change: Callable[[Floats, Any], Floats]) -> Floats:
        rows = self.of(kind)
        if rows.empty:
            return values
        made = values.copy()
        for row in rows.itertuples():
            span = within(when, row.start_utc, row.end_utc)
            made[span] = change(made[span], row)
        return made


def instant(moment: Any) -> np.datetime64:
    """Return a moment as a UTC instant without a zone.

    Parameters
    ----------
    moment : pandas.Timestamp, datetime.datetime or NaT
        Aware time; None or NaT for none.

    Returns
    -------
    numpy.datetime64
        To the microsecond; NaT for none.
    """
    if moment is None or moment is pd.NaT or pd.isna(moment):
        return np.datetime64("NaT", "us")
    stamp = pd.Timestamp(moment)
    return np.datetime64(stamp.tz_convert("UTC").tz_localize(None).to_datetime64(), "us")


def within(when: Instants, start: Any, end: Any) -> slice:
    """Return the samples at or after a start and before an end.

    Parameters
    ----------
    when : numpy.ndarray of datetime64[us], shape (n,)
        Times, rising.
    start, end : pandas.Timestamp, datetime.datetime or NaT
        Aware times; NaT or None for open.

    Returns
    -------
    slice
        Places of the samples.
    """
    first, last = instant(start), instant(end)
    low = 0 if np.isnat(first) else int(np.searchsorted(when, first, side="left"))
    high = when.size if np.isnat(last) else int(np.searchsorted(when, last, side="left"))
    return slice(low, max(low, high))


def said(kind: str, parameters: Mapping[str, Any], start: Any, end: Any) -> str:
    """Return a correction in words.

    Parameters
    ----------
    kind : str
        Kind of correction.
    parameters : mapping
        Its parameters.
    start, end : pandas.Timestamp, datetime.datetime or NaT
        Its span.

    Returns
    -------
    str
        For example ``clock shift +3600 s from 2024-10-27 01:00 UTC``.
    """
    words = [kind]
    for name, value in parameters.items():
        words.append(_WORDS.get(name, lambda given, name=name: f"{name} {given}")(value))
    first, last = instant(start), instant(end)
    for word, moment in (("from", first), ("to", last)):
        if not np.isnat(moment):
            words.append(f"{word} {np.datetime_as_string(moment, unit='s').replace('T', ' ').removesuffix(':00')} UTC")
    return " ".join(words)


_WORDS: Final[dict[str, Callable[[Any], str]]] = {
    "seconds": lambda value: f"{value:+g} s",
    "amount_m": lambda value: f"{value:+.4g} m",
    "factor": lambda value: f"x {value:g}",
    "cause": str,
    "method": str,
    "leave_out": lambda value: "without event " + ", ".join(str(number) for number in value),
    "temperature": lambda value: "by the temperature series" if value == "series" else f"at {value:g} degC",
    "kg_m3": lambda value: f"{value:g} kg/m3",
    "gravity_m_s2": lambda value: f"gravity {value:g} m/s2",
    "value": lambda value: f"{value:g}",
}
