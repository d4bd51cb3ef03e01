"""The face of the project for programs: one open record and what can be asked of it.

`gwnet.open` gives a `Network`; the command line calls the same methods. What is computed lives in `gwnet.analysis`,
what is written in `gwnet.products`; here is only the way to them.
"""

from gwnet.network.core import Network, init, upgrade

__all__ = ["Network", "init", "upgrade"]
