"""What further sections of a report are made from, gathered only where the definition asks for them."""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field, replace

import pandas as pd

from gwnet.errors import ReportError
from gwnet.reporting.content import DrawnFigure
from gwnet.reporting.registry import frame_columns


@dataclass(frozen=True, slots=True, eq=False)
class Picture:
    """A figure that was not drawn yet.

    Parameters
    ----------
    key, caption, alt : str
        As of `gwnet.reporting.content.FigureSlot`.
    draw : callable
        Gives one page of vector PDF, or a `DrawnFigure`; called when the report is rendered.
    bookmarks : tuple of str
        Entries in the document's outline that lead to it.
    """

    key: str
    caption: str
    alt: str
    draw: Callable[[], bytes | DrawnFigure] = field(repr=False)
    bookmarks: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True, eq=False)
class AquiferChange:
    """Change of the levels of an aquifer between two days.

    Parameters
    ----------
    aquifer : str
        Code of the aquifer.
    date, since : date
        Later and earlier day.
    since_what : str
        What the earlier day is, for example ``the last round``.
    wells : DataFrame
        Change at each well: well, change_m, uncertainty_m, is_significant, used, reason.
    facts : tuple of str
        Area, mean change and volumes in sentences.
    picture : Picture or None
        Map of the change; None where none could be drawn.
    refused : str
        Why not.
    """

    aquifer: str
    date: dt.date
    since: dt.date
    since_what: str
    wells: pd.DataFrame
    facts: tuple[str, ...] = ()
    picture: Picture | None = None
    refused: str = ""


@dataclass(frozen=True, slots=True, eq=False)
class Extras:
    """What further sections are made from; empty where the definition does not ask for it.

    Parameters
    ----------
    frames : mapping of str to DataFrame
        Frames by name, with the columns of `gwnet.reporting.registry.frame_columns`; more are welcome.
    changes : tuple of AquiferChange
        Changes since the last round and since a year before.
    pictures : mapping of str to tuple of Picture
        Figures by kind of section.
    trend_text : str
        How trends were tested, in a sentence.
    """

    frames: Mapping[str, pd.DataFrame] = field(default_factory=dict)
    changes: tuple[AquiferChange, ...] = ()
    pictures: Mapping[str, tuple[Picture, ...]] = field(default_factory=dict)
    trend_text: str = ""

    def __post_init__(self) -> None:
        known = frame_columns()
        for name, frame in self.frames.items():
            missing = [column for column in known[name] if column not in frame.columns]
            if missing:
                message = f"Columns are missing: {', '.join(missing)}."
                raise ReportError(message, where=f"frame {name!r}")

    def frame(self, name: str) -> pd.DataFrame:
        """Return a frame by name, without rows where it was not gathered."""
        if name in self.frames:
            return self.frames[name]
        return pd.DataFrame({column: pd.Series(dtype=object) for column in frame_columns()[name]})

    def with_section(self, section: str, pictures: Sequence[Picture] = (), **frames: pd.DataFrame) -> Extras:
        """Return the same with the pictures and frames of a section."""
        return replace(self, frames={**self.frames, **frames}, pictures={**self.pictures, section: tuple(pictures)})
