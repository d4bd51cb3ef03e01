"""What looking at an unknown logger file infers, and what remains in doubt."""

from __future__ import annotations

from dataclasses import dataclass, field


@dataclass
class Notes:
    """What was inferred and why, and what a person should check; in the order of finding.

    Attributes
    ----------
    reasons, doubts : list of str
        Sentences.
    """

    reasons: list[str] = field(default_factory=list)
    doubts: list[str] = field(default_factory=list)

    def add(self, reason: str = "", doubt: str = "") -> None:
        """Note a reason and a doubt, where there is one."""
        self.reasons += [reason] if reason else []
        self.doubts += [doubt] if doubt else []
