"""Loading all modules of the package at once: before the first of many tests, and before processes are copied."""

import pkgutil
from importlib import import_module

import gwnet


def load_package():
    """Import every module of the package but those that run as programs."""
    for module in pkgutil.walk_packages(gwnet.__path__, "gwnet."):
        if not module.name.endswith("__main__"):
            import_module(module.name)
