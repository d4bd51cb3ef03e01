"""What the file of a figure says of itself: title, record and program, as the sheet prints them."""

from __future__ import annotations

import re
from dataclasses import dataclass
from typing import Final

from matplotlib.figure import Figure
from matplotlib.text import Text

from gwnet.version import PROGRAM

#: The sentence of `gwnet.figures.base.text.known_text`, which lines of a block may cut anywhere.
_RECORD: Final = re.compile(r"Record as known on (.+?\((?:before state 1|state \d+)\))")


@dataclass(frozen=True, slots=True)
class Description:
    """What a figure says of itself.

    Attributes
    ----------
    title : str
        Its largest words: the heading of the sheet; empty where it has none.
    record : str
        Time and number of the state of the record that it shows; empty where it does not say.
    """

    title: str
    record: str

    @property
    def source(self) -> str:
        """Return where the figure comes from, in a sentence."""
        return f"Record as known on {self.record}." if self.record else "Monitoring record; state not stated."

    @property
    def program(self) -> str:
        """Return program and version."""
        return PROGRAM

    def png(self) -> dict[str, str | None]:
        """Return the keywords of a PNG (PNG specification, 11.3.3.2)."""
        return {"Title": self.title or None, "Source": self.source, "Software": self.program}

    def svg(self) -> dict[str, str | None]:
        """Return the elements of the metadata of an SVG (Dublin Core)."""
        titled = {"Title": self.title} if self.title else {}  # an SVG takes no title that is None
        return {**titled, "Source": self.source, "Creator": self.program, "Date": None}

    def pdf(self) -> dict[str, str]:
        """Return the entries of the information dictionary of a PDF (ISO 32000-1, 14.3.3)."""
        return {
            "Title": self.title or "Figure",
            "Subject": self.source,
            "Creator": self.program,
            "Producer": self.program,
        }


def describe(figure: Figure) -> Description:
    """Return title and record of a figure from its words.

    Parameters as `gwnet.figures`.

    Returns
    -------
    Description
        The title is its first words of the largest size, with what follows them on other lines left out.
    """
    texts = [text for text in figure.findobj(Text) if isinstance(text, Text) and text.get_text().strip()]
    if not texts:
        return Description("", "")
    largest = max(float(text.get_fontsize()) for text in texts)
    # The largest letters are those of the title.
    title = next(text.get_text() for text in texts if float(text.get_fontsize()) == largest)
    words = " ".join(" ".join(text.get_text().split()) for text in texts)
    found = _RECORD.search(words)
    return Description(" ".join(title.split()), found.group(1) if found else "")
