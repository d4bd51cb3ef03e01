"""The kinds of correction of a logger, each declared once: parameters, options, span, and what it does.

The command line takes its options from here, the documentation its table. Nothing but the standard library is imported,
so that the help of a command needs no more.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import Any, Final

from gwnet.errors import AnalysisError

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

#: Rules of findings that say that the sensor did not measure the water.
STATE_RULES: Final = ("out of water", "bottomed out", "upper limit", "flat", "over range")

#: Rules of findings of which the samples concerned give no level while one is open.
DOUBTED_BY: Final = ("spike", "end of a file", "step", "slipped cable", "clock", "drift")

#: Rules of findings that a person may dismiss.
DISMISSED: Final = (*STATE_RULES, *DOUBTED_BY, "common cause")

#: Ways of anchoring to manual readings; none uses the hanging depth.
METHODS: Final = ("linear", "constant", "none")


def _number(low: float = -math.inf, high: float = math.inf) -> Callable[[Any], float]:
    """Return what reads a finite number within limits."""

    def read(value: Any) -> float:
        number = float(value)
        # Not finite is no correction: NaN would blank a whole series.
        if not (math.isfinite(number) and low <= number <= high):
            raise ValueError
        return number

    return read


def _positive(value: Any) -> float:
    number = _number(0)(value)
    if number == 0:  # a factor of 0 would make one value of all
        raise ValueError
    return number


def _word(words: tuple[str, ...]) -> Callable[[Any], str]:
    """Return what reads one of some words."""

    def read(value: Any) -> str:
        if value not in words:
            raise ValueError
        return str(value)

    return read


def _temperature(value: Any) -> float | str:
    return "series" if value == "series" else _number(0, 40)(value)


def _events(value: Any) -> list[int]:
    return sorted({int(number) for number in value})


@dataclass(frozen=True)
class Parameter:
    """One parameter of corrections.

    Attributes
    ----------
    name : str
        Its name in the record.
    option, metavar : str
        How the command line calls it and its value.
    meaning, expected : str
        What it is, and what may be given.
    words : str
        Template of a stored value in words.
    read : callable
        Turns what was given into what is stored; ValueError or TypeError where that cannot be.
    value_type : type
        What the command line reads: float, int or str.
    is_length : bool
        Whether the command line takes it in the unit asked for and the record holds metres.
    """

    name: str
    option: str
    metavar: str
    meaning: str
    expected: str
    words: str
    read: Callable[[Any], Any]
    value_type: type = float
    is_length: bool = False

    @property
    def is_list(self) -> bool:
        """Return whether it holds several numbers, so that the option may be given several times."""
        return self.value_type is int

    def describe(self, value: Any) -> str:
        """Return a stored value in words.

        Parameters
        ----------
        value : object
            The value as it is stored.

        Returns
        -------
        str
            For example ``+3600 s``.
        """
        if self.name == "temperature":
            return "by the temperature series" if value == "series" else f"at {value:g} degC"
        return self.words.format(", ".join(map(str, value)) if self.is_list else value)


_ONE_CAUSE, _ONE_METHOD = (f"one of: {', '.join(words)}" for words in (CAUSES, METHODS))
_ONE_RULE: Final = f"one of: {', '.join(DISMISSED)}"
_WATER_TEMPERATURE: Final = "water temperature in degrees Celsius, or 'series' for those measured"
_METHOD: Final = "linear or constant between manual readings, or none for the hanging depth"

#: The parameters of corrections by their names.
PARAMETERS: Final[dict[str, Parameter]] = {
    row[0]: Parameter(*row)
    for row in (
        ("seconds", "--seconds", "S", "added to the times", "a number", "{:+g} s", _number()),
        (
            "amount_m",
            "--amount",
            "LENGTH",
            "added to the level, in --unit",
            "a number",
            "{:+.4g} m",
            _number(),
            float,
            True,
        ),
        ("cause", "--cause", "CAUSE", f"the reason, {_ONE_CAUSE}", _ONE_CAUSE, "{}", _word(CAUSES), str),
        ("factor", "--factor", "F", "factor on the values", "a number above zero", "x {:g}", _positive),
        ("method", "--method", "METHOD", _METHOD, _ONE_METHOD, "{}", _word(METHODS), str),
        (
            *("leave_out", "--leave-out", "EVENT", "manual reading that is not used, by its event number"),
            *("numbers of level events", "without event {}", _events, int),
        ),
        (
            *("temperature", "--temperature", "DEGC", _WATER_TEMPERATURE),
            *("'series', or degrees Celsius from 0 to 40", "", _temperature, str),
        ),
        (
            *("kg_m3", "--density", "KG_M3", "density of the water itself"),
            *("kilograms a cubic metre, from 900 to 1400", "{:g} kg/m3", _number(900, 1400)),
        ),
        (
            *("gravity_m_s2", "--gravity", "M_S2", "gravity to go with it"),
            *("metres a second squared, from 9.7 to 9.9", "gravity {:g} m/s2", _number(9.7, 9.9)),
        ),
        (
            *("against", "--against", "RULE", "rule of the finding that is dismissed, of any unless given"),
            *(_ONE_RULE, "against {}", _word(DISMISSED), str),
        ),
        (
            *("value", "--value", "BE", "barometric efficiency, 0 to 1"),
            *("a barometric efficiency from 0 to 1", "{:g}", _number(0, 1)),
        ),
        (
            *("lags", "--lags", "HOURS", "hours over which the well answers late, for the response by deconvolution"),
            *("hours from 0 to 240", "by the response over {:g} h", _number(0, 240)),
        ),
    )
}

#: What the span of a correction must have, in words.
SPANS: Final = {
    "start": "a start",
    "both": "a start and an end",
    "one": "a start, an end or both",
    "any": "start and end may be left open",
}


@dataclass(frozen=True)
class Kind:
    """One kind of correction.

    Attributes
    ----------
    name : str
        Its word.
    parameters : tuple of str
        Names of the parameters that it needs or may have.
    required : tuple of str
        Those that must be given; of a group written ``a|b`` exactly one.
    span : str
        One of `SPANS`.
    description : str
        What it does.
    per_segment : bool
        Whether it corrects how the samples of one segment were read; it is then recorded for each that has samples.
    """

    name: str
    parameters: tuple[str, ...]
    required: tuple[str, ...]
    span: str
    description: str
    per_segment: bool = False


#: The kinds of correction by their word.
KINDS: Final[dict[str, Kind]] = {
    kind.name: kind
    for kind in (
        Kind("clock shift", ("seconds",), ("seconds",), "any", "adds to the times of the span", per_segment=True),
        Kind(
            "clock drift", ("seconds",), ("seconds",), "both", "adds to the times, evenly from 0 on", per_segment=True
        ),
        Kind("scale", ("factor",), ("factor",), "any", "multiplies the values of the span", per_segment=True),
        Kind("step", ("amount_m",), ("amount_m",), "start", "adds to the level from the start on"),
        Kind("exclusion", ("cause",), ("cause",), "one", "excludes the samples of the span"),
        Kind("keep", ("against",), (), "one", "keeps the samples of the span as levels: dismisses findings within it"),
        Kind("restart", (), (), "start", "anchors anew from the start on: sensor moved, cable slipped"),
        Kind(
            "anchoring",
            ("method", "leave_out"),
            (),
            "any",
            "sets how levels are anchored to manual readings, and which of these are not used",
        ),
        Kind(
            "density",
            ("temperature", "kg_m3", "gravity_m_s2"),
            ("temperature|kg_m3",),
            "any",
            "sets the density of the water, and gravity",
        ),
        Kind(
            "efficiency",
            ("value", "lags"),
            ("value|lags",),
            "any",
            "removes the response of the well to air pressure: at once, or late as deconvolved from the record",
        ),
    )
}


def check_parameters(kind: str, given: Mapping[str, Any], *, start: object, end: object) -> dict[str, Any]:
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
    declared = KINDS[kind]
    # An option that was not given comes as None, a list option as an empty tuple.
    values = {name: value for name, value in given.items() if value is not None and value != ()}
    unknown = [name for name in values if name not in declared.parameters]
    if unknown:
        message = f"Correction {kind!r} has no parameter {', '.join(unknown)}."
        raise AnalysisError(message, fix=f"It has: {', '.join(declared.parameters) or 'none'}.")
    for group in declared.required:
        # Exactly one of alternatives: two densities at once cannot both hold.
        if sum(name in values for name in group.split("|")) != 1:
            wanted = group.replace("|", " or ")
            message = f"Correction {kind!r} needs {wanted}{' and not both' if '|' in group else ''}."
            raise AnalysisError(message, fix=f"It {declared.description}.")
    parameters = {name: _read(kind, PARAMETERS[name], value) for name, value in values.items()}
    _check_span(declared, start, end)
    return parameters


def _read(kind: str, parameter: Parameter, value: Any) -> Any:
    try:
        return parameter.read(value)
    except (TypeError, ValueError):
        message = f"{value!r} cannot be the {parameter.name} of {kind!r}."
        raise AnalysisError(message, fix=f"Give {parameter.expected}.") from None


def _check_span(kind: Kind, start: object, end: object) -> None:
    has_start, has_end = start is not None, end is not None
    if {"start": has_start, "both": has_start and has_end, "one": has_start or has_end, "any": True}[kind.span]:
        return
    message = f"Correction {kind.name!r} needs {SPANS[kind.span]}."
    options = {"start": "--from", "both": "--from and --to", "one": "--from or --to"}
    raise AnalysisError(message, fix=f"Give {options[kind.span]}.")


def describe_parameters(kind: str, parameters: Mapping[str, Any]) -> str:
    """Return a kind of correction with its parameters in words.

    Parameters
    ----------
    kind : str
        Kind of correction.
    parameters : mapping
        Its parameters as they are stored.

    Returns
    -------
    str
        For example ``clock shift +3600 s``.
    """
    words = [kind, *(PARAMETERS[name].describe(value) for name, value in parameters.items() if name in PARAMETERS)]
    if "response" in parameters:
        words.append(f"({describe_response(parameters)})")
    return " ".join(words)


def describe_response(parameters: Mapping[str, Any]) -> str:
    """Return a late response to air pressure in words.

    Parameters
    ----------
    parameters : mapping
        Parameters of an ``efficiency``: response and half_width by lag, step_s between the lags.

    Returns
    -------
    str
        For example ``0.25 at once, 0.68 ± 0.03 after 24 h``.
    """
    first, last = parameters["response"][0], parameters["response"][-1]
    hours = (len(parameters["response"]) - 1) * parameters["step_s"] / 3600
    return f"{first:.2f} at once, {last:.2f} ± {parameters['half_width'][-1]:.2f} after {hours:g} h"


def describe_corrections() -> str:
    """Return the kinds of correction with their options as a Markdown table.

    Returns
    -------
    str
        One row a kind: its effect, its options, what its span must have.
    """
    lines = ["| kind | effect | options | span |", "| --- | --- | --- | --- |"]
    for kind in KINDS.values():
        options = "; ".join(
            f"`{PARAMETERS[name].option} {PARAMETERS[name].metavar}` {PARAMETERS[name].meaning}"
            for name in kind.parameters
        )
        lines.append(f'| `"{kind.name}"` | {kind.description} | {options or "none"} | {SPANS[kind.span]} |')
    return "\n".join(lines)
