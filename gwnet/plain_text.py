"""Text from files made harmless where it is shown or handed on: no sign that steers a terminal, no cell that runs."""

from __future__ import annotations

from typing import Final

#: First signs of a cell that a spreadsheet program would run as a formula.
_FORMULA_STARTS: Final = ("=", "+", "-", "@", "\t", "\r", "\n")


def without_control_signs(text: str) -> str:
    r"""Return a text in which control signs are written out, so that text from a file cannot steer a terminal.

    Parameters
    ----------
    text : str
        Any text; line breaks stay.

    Returns
    -------
    str
        The text with each control sign as its escape.

    Examples
    --------
    >>> without_control_signs("\x1b[31mred")
    '\\x1b[31mred'
    """
    if text.isprintable():
        return text
    return "".join(c if c.isprintable() or c == "\n" else c.encode("unicode_escape").decode() for c in text)


def neutralised(text: str) -> str:
    """Return a text that a spreadsheet program shows and does not run.

    Parameters
    ----------
    text : str
        Text of a cell.

    Returns
    -------
    str
        The text, led by an apostrophe where it would be run as a formula.

    Examples
    --------
    >>> neutralised("=1+1")
    "'=1+1"
    >>> neutralised("gate locked")
    'gate locked'
    """
    return f"'{text}" if text.startswith(_FORMULA_STARTS) else text


def as_it_was(text: str) -> str:
    """Return what `neutralised` was given.

    Parameters
    ----------
    text : str
        Text of a cell, from `neutralised`.

    Returns
    -------
    str
        The text without the apostrophe that was put before it.

    Examples
    --------
    >>> as_it_was("'=1+1")
    '=1+1'
    >>> as_it_was("'t was dry")
    "'t was dry"
    """
    return text[1:] if text.startswith("'") and text[1:].startswith(_FORMULA_STARTS) else text
