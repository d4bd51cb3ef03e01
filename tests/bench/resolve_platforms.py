"""For which platforms and versions of Python wheels of every dependency are found: a table, for the page on installing.

Needs the network and ``uv``: python tests/bench/resolve_platforms.py
"""

import os
import shutil
import subprocess
import sys
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]
PLATFORMS = {
    "Linux x86-64": ("x86_64-manylinux_2_28", ""),
    "Linux arm64": ("aarch64-manylinux_2_28", ""),
    "Windows x86-64": ("x86_64-pc-windows-msvc", ""),
    **{f"macOS {number} arm64": ("aarch64-apple-darwin", f"{number}.0") for number in (13, 14, 15)},
    **{f"macOS {number} x86-64": ("x86_64-apple-darwin", f"{number}.0") for number in (13, 14, 15)},
}
PYTHONS = ("3.11", "3.12", "3.13", "3.14")


def resolve(platform, system, python):
    """Return the version of pikepdf that is found, or why nothing is."""
    command = ["uv", "pip", "compile", "-q", "pyproject.toml", "--python-platform", platform]
    command += ["--python-version", python, "--only-binary", ":all:", "--no-header", "--no-annotate"]
    env = {**os.environ, **({"MACOSX_DEPLOYMENT_TARGET": system} if system else {})}
    done = subprocess.run(command, cwd=ROOT, env=env, capture_output=True, text=True, check=False)
    if done.returncode != 0:
        return "no: " + " ".join(done.stderr.partition("Because ")[2].split())[:60]
    return next(line for line in done.stdout.splitlines() if line.startswith("pikepdf")).split()[0]


def main():
    """Print the table."""
    if shutil.which("uv") is None:
        sys.exit("no uv: install it with pip")
    print("| platform |", " | ".join(PYTHONS), "|")
    print("|---" * (len(PYTHONS) + 1) + "|")
    for name, (platform, system) in PLATFORMS.items():
        print(f"| {name} |", " | ".join(resolve(platform, system, python) for python in PYTHONS), "|", flush=True)


if __name__ == "__main__":
    main()
