"""The log of a site: wall-clock times, durations and host names, which never enter ledger or queue.

A log is kept while a site's work is under way in a thread; a host that runs several sites finds each one's
lines in its own log. A log that cannot be written stops nothing.
"""

from __future__ import annotations

import logging
import re
import socket
from collections.abc import Iterator
from contextlib import contextmanager
from contextvars import ContextVar
from datetime import UTC, datetime
from logging.handlers import RotatingFileHandler
from pathlib import Path

from takeup.errors import OurFault
from takeup.site.folders import Folders

#: Where every room tells of what a person should know.
log = logging.getLogger("takeup")
#: Where a night tells of its steps: to the site's log alone, so that a host's own log stays quiet.
steps = logging.getLogger("takeup.steps")
steps.setLevel(logging.INFO)
steps.propagate = False

#: A log of that size is put away, and so many of those put away are kept.
LARGEST_BYTES = 2_000_000
KEPT = 5

#: Characters that would make one line two, or hide what stands before them.
_CONTROL = re.compile(r"[\x00-\x1f\x7f-\x9f\u2028\u2029]")


class _Line(logging.Formatter):
    """Moment in UTC, host, process and level before the message, which stays on its line."""

    def formatTime(self, record: logging.LogRecord, datefmt: str | None = None) -> str:  # noqa: ARG002, N802
        return datetime.fromtimestamp(record.created, UTC).isoformat(timespec="milliseconds")

    def formatMessage(self, record: logging.LogRecord) -> str:  # noqa: N802 - the name of the library
        return _CONTROL.sub(lambda found: f"\\x{ord(found[0]):02x}", super().formatMessage(record))


class _SiteLog(RotatingFileHandler):
    """A site's file; takes only what was told while it was the one under way."""

    def __init__(self, path: Path) -> None:
        super().__init__(path, maxBytes=LARGEST_BYTES, backupCount=KEPT, encoding="utf-8", delay=True)
        self.path = path
        self.failed = False
        self.setFormatter(
            _Line(
                "%(asctime)s %(host)s process %(process)d %(levelname)s %(message)s",
                defaults={"host": socket.gethostname()},
            )
        )

    def emit(self, record: logging.LogRecord) -> None:
        if _under_way.get() is not self:
            return
        super().emit(record)
        others = (one for one in (*log.handlers, *logging.root.handlers) if not isinstance(one, _SiteLog))
        last = logging.lastResort
        if record.name == log.name and last and record.levelno >= last.level and not any(others):
            last.handle(record)  # what reached the terminal without this handler still does

    def handleError(self, record: logging.LogRecord) -> None:  # noqa: ARG002, N802
        """A full disk or a folder that may not be written: the work goes on."""
        self.failed = True


_under_way: ContextVar[_SiteLog | None] = ContextVar("takeup_log", default=None)


@contextmanager
def keeping_log(folders: Folders) -> Iterator[None]:
    """Keep a site's log: its steps, whatever the rooms tell of meanwhile, and how it failed.

    An error goes into it on its way out; a fault of takeup's own with its traceback, and the error then bears
    a note that names the file. Inside another of the same site it does nothing of its own.
    """
    outer = _under_way.get()
    if outer is not None and outer.path == folders.log:
        yield
        return
    own = _SiteLog(folders.log)
    log.addHandler(own)
    steps.addHandler(own)
    token = _under_way.set(own)
    try:
        yield
    except BaseException as error:
        _failed(error, own)
        raise
    finally:
        _under_way.reset(token)
        log.removeHandler(own)
        steps.removeHandler(own)
        own.close()


def _failed(error: BaseException, own: _SiteLog) -> None:
    if isinstance(error, BrokenPipeError):
        return  # whoever read the output has read enough
    if not isinstance(error, Exception):
        steps.warning("stopped: %s", type(error).__name__)
    elif getattr(error, "exit_code", OurFault.exit_code) != OurFault.exit_code:
        steps.error("%s", error)  # a known error says all it has to say
    else:
        steps.error("%s: %s", type(error).__name__, error, exc_info=error)
        if not own.failed:
            error.add_note(f"The traceback stands in {own.path}.")
