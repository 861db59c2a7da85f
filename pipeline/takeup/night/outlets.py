"""Outlets: other programs told of a night once it is committed.

An outlet is an entry point of the group ``takeup.outlets``: a callable that takes the published folder and
the night's result. It comes after the commit, so that whatever it does or fails to do, the night stands. A
dry run tells nobody.
"""

from __future__ import annotations

from collections.abc import Callable
from importlib.metadata import entry_points
from pathlib import Path

from takeup.night.result import NightResult
from takeup.site.log import log, steps

GROUP = "takeup.outlets"

#: ``outlet(folder, result)``
Outlet = Callable[[Path, NightResult], None]


def tell_outlets(folder: Path, result: NightResult, log_file: Path) -> tuple[str, ...]:
    """Tell every outlet installed, by name; one that fails is logged and passed by.

    Parameters
    ----------
    folder : Path
        The night's own folder in the queue.
    result : NightResult
    log_file : Path
        The site's log, under way: it takes the traceback, and the terminal one line that names it.

    Returns
    -------
    tuple of str
        Names of the outlets that failed.
    """
    failed = []
    for point in sorted(entry_points(group=GROUP), key=lambda point: point.name):
        try:
            outlet: Outlet = point.load()
            outlet(folder, result)
        # Whatever an outlet raises, and to end the process is not its to decide either.
        except (Exception, SystemExit) as fault:  # noqa: BLE001
            told = f"the outlet {point.name!r} failed ({type(fault).__name__}: {fault})"
            steps.error("%s", told, exc_info=fault)
            log.error("%s; the night stands all the same. Its traceback stands in %s", told, log_file)
            failed.append(point.name)
    return tuple(failed)
