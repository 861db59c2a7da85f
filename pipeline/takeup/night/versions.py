"""What told a night: the versions that could change a byte of it."""

from __future__ import annotations

import platform
from functools import cache
from importlib.metadata import PackageNotFoundError, entry_points, version

from takeup.judgement.rules import GROUP

PACKAGES = ("takeup", "duckdb", "jinja2", "matplotlib", "numpy", "pandas", "pandera", "tzdata")


@cache
def versions() -> tuple[tuple[str, str], ...]:
    """Name and version of Python and of every package whose release could change a byte.

    A package whose rules judge along with ours is one of them.
    """
    found = [("python", platform.python_version())]
    for package in PACKAGES:
        try:
            found.append((package, version(package)))
        except PackageNotFoundError:
            found.append((package, "not installed"))
    behind = {(point.dist.name, point.dist.version) for point in entry_points(group=GROUP) if point.dist}
    found += sorted(behind - set(found))
    return tuple(found)
