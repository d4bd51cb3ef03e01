"""Version of the program, alone in a module so that every layer may name it."""

__version__ = "0.1.0"

#: Program and version, as files name what made them.
PROGRAM = f"gwnet {__version__}"
