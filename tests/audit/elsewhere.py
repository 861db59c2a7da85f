"""Nights told again in a process of its own: in another time zone and locale, with other threads, no clock.

The machine's date is not moved. Instead every reading of a clock is watched, with the file that asks for it.
"""

from __future__ import annotations

import json
import os
import subprocess
import sys
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

ROOT = Path(__file__).parents[2]

_REPLAY = """
import json, sys
root, into, threads, night = {root!r}, {into!r}, {threads!r}, {night!r}
import duckdb
from takeup.store import connection
if threads:
    connection.CONFIG["threads"] = threads
from pathlib import Path
from takeup.retell import replay
from takeup.site import Site
told = replay(Site.open(Path(root)), night, into=Path(into)).as_dict()
import locale, time
threads = duckdb.connect(config=connection.CONFIG).execute("SELECT current_setting('threads')").fetchone()[0]
where = [time.tzname[0], locale.getpreferredencoding(False), hash("takeup"), threads]
print(json.dumps(told | {{"where": where}}))
"""

#: Watches every C function of the standard library that tells the date or the time of day.
_WATCH = """
import sys, threading, time, datetime
CLOCKS = {{"time", "time_ns", "localtime", "gmtime", "ctime", "strftime", "clock_gettime", "clock_gettime_ns",
          "now", "utcnow", "today"}}
read = {{}}
def watch(frame, event, called):
    if event != "c_call" or called.__name__ not in CLOCKS:
        return
    of = called.__self__
    if of is not time and not (isinstance(of, type) and issubclass(of, datetime.date)):
        return
    asked, name = [], f"{{getattr(of, '__name__', of)}}.{{called.__name__}}"
    while frame is not None:
        asked.append(frame.f_code.co_filename)
        frame = frame.f_back
    ours = [one for one in asked if "/takeup/" in one]
    read.setdefault(name, set()).add((asked[0], *ours[:1]))
threading.setprofile(watch)
sys.setprofile(watch)
"""

_TOLD = """
sys.setprofile(None)
print(json.dumps([[name, *asked] for name, places in read.items() for asked in places]))
"""


@dataclass(frozen=True)
class Surroundings:
    """What a process finds around it, and may not heed.

    Attributes
    ----------
    name : str
    environment : dict
        What is set beside or instead of this process's own.
    duckdb_threads : int
        0: as many as DuckDB takes by itself.
    """

    name: str
    environment: dict[str, str] = field(default_factory=dict)
    duckdb_threads: int = 0


def _math_threads(count: int) -> dict[str, str]:
    names = ("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS", "MKL_NUM_THREADS", "NUMEXPR_NUM_THREADS")
    return dict.fromkeys(names, str(count))


#: What a process gets that is started without any locale.
_ASCII = {"LC_ALL": "C", "LANG": "C", "PYTHONUTF8": "0", "PYTHONCOERCECLOCALE": "0"}


def surroundings(folder: Path) -> tuple[Surroundings, Surroundings]:
    """Two that differ from each other and from here; a folder for a locale to be made in."""
    return (
        Surroundings(
            "13 h ahead, ASCII, one thread",
            {"TZ": "Pacific/Tongatapu", "PYTHONHASHSEED": "1"} | _ASCII | _math_threads(1),
            1,
        ),
        Surroundings(
            "11 h behind, decimal comma, eight threads",
            {"TZ": "Pacific/Pago_Pago", "PYTHONHASHSEED": "4294967295"}
            | comma_locale(folder)
            | _math_threads(8),
            8,
        ),
    )


def comma_locale(folder: Path) -> dict[str, str]:
    """A locale with decimal commas made in a folder; where the system has no sources for one, plain C."""
    made = subprocess.run(
        ["localedef", "-i", "de_DE", "-f", "UTF-8", str(folder / "de_DE.UTF-8")],
        capture_output=True,
        check=False,
    )
    if made.returncode > 1:  # 1: made, with a warning about the system's own sources
        return {"LC_ALL": "C.UTF-8"}
    return {"LOCPATH": str(folder), "LC_ALL": "de_DE.UTF-8"}


def replayed(site: Path, into: Path, around: Surroundings, night: int | None = None) -> dict[str, Any]:
    """What a replay says of itself in other surroundings, as with ``--json``; ``where`` shows them."""
    script = _REPLAY.format(root=str(site), into=str(into), threads=around.duckdb_threads, night=night)
    return dict(json.loads(_run(script, around.environment)))


def clocks_read(site: Path, into: Path, night: int | None = None) -> set[tuple[str, ...]]:
    """Every clock that a replay reads: its name, the file that asks, and takeup's file behind it."""
    script = _REPLAY.format(root=str(site), into=str(into), threads=0, night=night)
    begin = script.index("told = replay")
    script = script[:begin] + _WATCH.format() + script[begin:] + _TOLD
    return {tuple(one) for one in json.loads(_run(script, {}).splitlines()[-1])}


def _run(script: str, environment: dict[str, str]) -> str:
    path = os.pathsep.join([str(ROOT / "pipeline"), str(ROOT), *filter(None, [os.environ.get("PYTHONPATH")])])
    done = subprocess.run(
        [sys.executable, "-c", script],
        env=os.environ | {"PYTHONPATH": path} | environment,
        capture_output=True,
        text=True,
        check=False,
    )
    if done.returncode:
        raise RuntimeError(done.stderr)
    return done.stdout
