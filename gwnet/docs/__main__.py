"""Writes the generated parts of the documentation anew: ``python -m gwnet.docs``, in a checkout."""

from __future__ import annotations

import sys
from pathlib import Path

from gwnet.docs.generate import list_pages, regenerate


def main() -> int:
    """Rewrite every page whose generated parts are out of date; return the exit code."""
    checkout = Path.cwd()
    if not (checkout / "README.md").exists():
        sys.stderr.write(f"{checkout} has no README.md. Run this at the top of a checkout.\n")
        return 1
    for page in list_pages(checkout):
        before = page.read_text(encoding="utf-8")
        after = regenerate(before)
        if after != before:
            page.write_text(after, encoding="utf-8")
            sys.stdout.write(f"{page}\n")
    return 0


if __name__ == "__main__":
    sys.exit(main())
