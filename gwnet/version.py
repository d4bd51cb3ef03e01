"""Version of the program, alone in a module so that every layer may name it."""

__version__ = "0.1.0"
