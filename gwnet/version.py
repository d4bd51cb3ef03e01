"""Version of the program, alone in a module so that every layer may name it."""

from typing import Final

VERSION: Final = "0.1.0"
