"""Runs the command line as ``python -m gwnet``."""

import sys

from gwnet.cli import main

if __name__ == "__main__":
    sys.exit(main())
