"""The command line: parse, call, print. One place turns a known error into its four texts and exit code.

Exit codes: 0 done · 1 under ``--strict`` rows kept out or feeds stale, and always when a check or a replay
finds something · 2 usage or settings · 3 input unusable · 4 store, lock or disk · 5 our own fault.
"""

from __future__ import annotations

import argparse
import json
import logging
import os
import signal
import sys
from collections.abc import Sequence
from contextlib import AbstractContextManager, nullcontext
from datetime import date
from pathlib import Path
from typing import Any

from takeup.errors import OurFault, StoreError, TakeupError, UsageError
from takeup.model import Feed

MINUTES_A_DAY = 1440
SECONDS_A_DAY = 86_400
DAYS_A_YEAR = 366


def main(arguments: Sequence[str] | None = None) -> int:
    """Run one command.

    Parameters
    ----------
    arguments : sequence of str, optional
        Without the program's name; from the shell by default.

    Returns
    -------
    int
        The exit code.
    """
    given = _parser().parse_args(arguments)
    try:
        with _log_of(given):
            code = int(given.run(given))
        sys.stdout.flush()
    except TakeupError as error:
        return _told(error, as_json=given.json)
    except KeyboardInterrupt:
        print("Stopped. Nothing is lost: the next run makes good what was begun.", file=sys.stderr)
        return 130
    except BrokenPipeError:  # whoever read our output has read enough
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
        return 0
    except OSError as error:
        return _told(_refused(error), as_json=given.json)
    except Exception as error:
        fault = OurFault(
            f"takeup met something it should have foreseen: {type(error).__name__}: {error}",
            why="This is our fault, not yours; nothing committed before is touched.",
            todo=_traceback(error) + " Please report it with the message.",
        )
        if _wants_traceback():
            raise
        return _told(fault, as_json=given.json)
    return code


def _log_of(given: argparse.Namespace) -> AbstractContextManager[None]:
    """The log of the site that a command is for; none where there is no site."""
    from takeup.site.folders import Folders
    from takeup.site.log import keeping_log

    folders = Folders(Path(getattr(given, "site", None) or ""))
    return keeping_log(folders) if hasattr(given, "site") and folders.settings.is_file() else nullcontext()


def _traceback(error: Exception) -> str:
    """Where its traceback stands: the log's own note, where there is a log."""
    return next(iter(getattr(error, "__notes__", ())), "TAKEUP_TRACEBACK=1 prints the traceback.")


def _told(error: TakeupError, *, as_json: bool) -> int:
    notes = getattr(error, "__notes__", [])  # where the log has its traceback
    if as_json:
        print(json.dumps(error.as_dict() | ({"notes": notes} if notes else {}), ensure_ascii=False, indent=1))
    else:
        print(" ".join([f"takeup: {error}", *notes]), file=sys.stderr)
    return error.exit_code


def _refused(error: OSError) -> StoreError:
    return StoreError(
        f"the disk refused: {error.strerror or error}",
        where=str(error.filename or ""),
        why="Nothing committed before is touched.",
        todo="Make room, or mend the rights or the kind of the file named, then run this again.",
    )


def _wants_traceback() -> bool:
    return bool(os.environ.get("TAKEUP_TRACEBACK"))


def _parser() -> argparse.ArgumentParser:
    parser = argparse.ArgumentParser(
        prog="takeup",
        description="Decides every night which chains of a plant need which job, why, and by when.",
        epilog="A site is one folder with its settings, inbox, archive, ledger, store, queue and log.",
    )
    commands = parser.add_subparsers(metavar="COMMAND", required=True)

    def command(
        name: str, run: Any, says: str, *, site: bool = True, waits: bool = True
    ) -> argparse.ArgumentParser:
        sub = commands.add_parser(name, help=says, description=says[0].upper() + says[1:] + ".")
        sub.set_defaults(run=run)
        sub.add_argument("--json", action="store_true", help="print the result as JSON")
        if site:
            sub.add_argument(
                "--site", type=Path, default=Path(), metavar="FOLDER", help="the site (default: here)"
            )
        if waits:
            sub.add_argument(
                "--wait",
                type=_seconds,
                metavar="SECONDS",
                help="how long to wait for others who hold the site (default: its settings, else 60)",
            )
        return sub

    demo = command(
        "demo",
        _demo,
        "tell five nights of an invented plant and say where its queue lies",
        site=False,
        waits=False,
    )
    demo.add_argument(
        "folder", nargs="?", type=Path, default=Path("takeup-demo"), help="a new folder for the plant"
    )

    new = command(
        "new", _new, "make a site: its folders and a settings file to fill in", site=False, waits=False
    )
    new.add_argument("folder", type=Path)
    new.add_argument("--name", required=True, help="the plant's name, as pages print it")
    new.add_argument(
        "--time-zone", required=True, metavar="ZONE", help="IANA zone, for example Europe/Lisbon"
    )

    check = command(
        "check", _check, "read export files as a night would, and write nothing", site=False, waits=False
    )
    check.add_argument("files", nargs="+", type=Path, metavar="FILE")
    check.add_argument(
        "--feed", choices=[feed.value for feed in Feed], help="what the files are, if their names do not say"
    )
    check.add_argument(
        "--settings", type=Path, metavar="FILE", help="a takeup.toml whose sources map the files"
    )

    nightly = command("nightly", _nightly, "tell the night: take in exports, judge, and write the queue")
    nightly.add_argument(
        "--as-of", type=_day, metavar="DAY", help="civil day to tell (default: the last complete one)"
    )
    nightly.add_argument(
        "--dry-run", action="store_true", help="tell it beside the site and leave the site as it is"
    )
    nightly.add_argument(
        "--strict", action="store_true", help="exit 1 if rows were kept out or feeds are stale"
    )

    why = command("why", _why, "say why an order stands, or what every rule says of a strand")
    why.add_argument("subject", metavar="ORDER-OR-STRAND")
    why.add_argument(
        "--as-of",
        type=_day,
        metavar="DAY",
        help="as known by the night of that day (default: the last night)",
    )
    why.add_argument("--page", type=Path, metavar="FILE", help="write the answer as a page that stands alone")
    why.add_argument("--prov", type=Path, metavar="FILE", help="write the order's lineage as W3C PROV-JSON")

    quarantine = command(
        "quarantine", _quarantine, "list the rows kept out, or read their files again under new settings"
    )
    quarantine.add_argument(
        "--read-again", metavar="SHA256", help="read this archived file again in the next night"
    )
    quarantine.add_argument(
        "--set-aside",
        metavar="SHA256:LINE",
        help="do not use this row from the next night on (line 0: a file that could not be used)",
    )
    quarantine.add_argument("--reason", default="", help="why it is decided so")
    quarantine.add_argument("--by", default="", help="who decided it")

    rehearse = command(
        "rehearse", _rehearse, "say what changed settings would have done to the whole history"
    )
    rehearse.add_argument(
        "--settings", type=Path, metavar="FILE", help="a copy of takeup.toml with other values in it"
    )
    rehearse.add_argument(
        "--rule",
        action="append",
        default=[],
        metavar="NAME",
        help="an installed rule to rehearse as new: the present side does without",
    )
    rehearse.add_argument(
        "--from", dest="begins", type=_day, metavar="DAY", help="first night (default: the first reading)"
    )
    rehearse.add_argument(
        "--to", dest="ends", type=_day, metavar="DAY", help="last night (default: the last one told)"
    )
    rehearse.add_argument(
        "--every", type=_days, default=1, metavar="DAYS", help="days from night to night (default: 1)"
    )
    rehearse.add_argument("--page", type=Path, metavar="FILE", help="write what was found as one HTML page")

    schedule = command(
        "schedule", _schedule, "tell every night as its day completes, until stopped", waits=False
    )
    schedule.add_argument(
        "--every-minutes", type=_minutes, default=5.0, help="how often to ask whether a day is due"
    )

    replay = command(
        "replay", _replay, "tell past nights again beside the site, and compare with what was published"
    )
    replay.add_argument("night", nargs="?", type=int, metavar="NIGHT", help="number of the night")
    replay.add_argument("--all", action="store_true", help="every night, each on top of the one before")
    replay.add_argument(
        "--into",
        type=Path,
        metavar="FOLDER",
        help="a new folder for what they would have published (default: beside the site)",
    )

    verify = command("verify", _verify, "check that the whole site is what its nights recorded")
    verify.add_argument(
        "--head",
        nargs="+",
        default=[],
        metavar="DIGITS",
        help="the ledger's head from a printed page or an outlet; its first four groups will do",
    )

    command("rebuild", _rebuild, "make the store again from archive and ledger")
    return parser


def _day(text: str) -> date:
    try:
        return date.fromisoformat(text)
    except ValueError:
        raise argparse.ArgumentTypeError(f"{text!r} is not a day such as 2026-01-31") from None


def _seconds(text: str) -> float:
    try:
        seconds = float(text)
    except ValueError:
        seconds = -1.0
    if not 0 <= seconds <= SECONDS_A_DAY:
        raise argparse.ArgumentTypeError(f"{text!r} is not a number of seconds from 0 to a day")
    return seconds


def _days(text: str) -> int:
    if not text.isascii() or not text.isdigit() or not 0 < int(text) <= DAYS_A_YEAR:
        raise argparse.ArgumentTypeError(f"{text!r} is not a whole number of days from 1 to {DAYS_A_YEAR}")
    return int(text)


def _minutes(text: str) -> float:
    try:
        minutes = float(text)
    except ValueError:
        minutes = 0.0
    if not 0 < minutes <= MINUTES_A_DAY:
        raise argparse.ArgumentTypeError(f"{text!r} is not a number of minutes above 0 and up to a day")
    return minutes


# --- one small function a command; what is heavy is imported inside ---


def _demo(given: argparse.Namespace) -> int:
    from takeup.demo import demo

    with _Bar() as bar:
        told = demo(given.folder, progress=bar)
    return _say(told, given)


def _new(given: argparse.Namespace) -> int:
    from takeup.site import new_site

    site = new_site(given.folder, name=given.name, time_zone=given.time_zone)
    root = site.folders.root
    return _print(
        {"site": str(root)},
        f"A site stands at {root}. Read {site.folders.settings}, put exports into {site.inbox} "
        f"and run: takeup nightly --site {root}",
        given,
    )


def _check(given: argparse.Namespace) -> int:
    from takeup.checking import check_files

    checked = check_files(given.files, feed=given.feed, settings=given.settings)
    _say(checked, given)
    return checked.exit_code


def _nightly(given: argparse.Namespace) -> int:
    from takeup.night import nightly

    with _Bar() as bar:
        result = nightly(
            given.site, as_of=given.as_of, dry_run=given.dry_run, wait_seconds=given.wait, progress=bar
        )
    _say(result, given)
    return 1 if given.strict and result.wants_attention else 0


def _why(given: argparse.Namespace) -> int:
    from takeup.site import Site
    from takeup.why import why

    answer = why(Site.open(given.site), given.subject, as_of=given.as_of, wait_seconds=given.wait)
    if given.page is None and given.prov is None:
        return _say(answer, given)
    written = {}
    if given.prov is not None:
        lineage = json.dumps(answer.lineage(), ensure_ascii=False, indent=1)
        written["prov"] = _written(given.prov, lineage + "\n")
    if given.page is not None:
        written["page"] = _written(given.page, answer.page())
    return _print(written, f"The answer lies at {' and '.join(written.values())}", given)


def _written(path: Path, text: str) -> str:
    path.write_text(text, encoding="utf-8")
    return str(path.resolve())


def _quarantine(given: argparse.Namespace) -> int:
    from takeup.quarantine import kept_out, read_again, set_aside
    from takeup.site import Site

    site = Site.open(given.site)
    if (given.read_again or given.set_aside) and not (given.reason and given.by):
        raise UsageError(
            "a decision needs --reason and --by", why="It is kept in the ledger with who made it and why."
        )
    decided = {"reason": given.reason, "by": given.by, "wait_seconds": given.wait}
    if given.read_again:
        told = read_again(site, given.read_again, **decided)
        return _print(told, f"{told['file']} will be read again by the next night.", given)
    if given.set_aside:
        told = set_aside(site, given.set_aside, **decided)
        return _print(
            told, f"Line {told['line']} of {told['file']} will not be used from the next night on.", given
        )
    listed = kept_out(site, wait_seconds=given.wait)
    return _say(listed, given)


def _rehearse(given: argparse.Namespace) -> int:
    from takeup.audit.rehearsal import record
    from takeup.documents.rehearsals import rehearsal_page, rehearsal_text
    from takeup.retell import rehearse
    from takeup.site import Site

    site = Site.open(given.site)
    if given.page is not None and not given.page.absolute().parent.is_dir():
        raise UsageError(
            "the folder of the page does not exist",
            where=str(given.page),
            todo="Make it, or name another file.",
        )
    with _Bar() as bar:
        told = rehearse(
            site,
            settings=given.settings,
            new_rules=given.rule,
            begins=given.begins,
            ends=given.ends,
            every=given.every,
            wait_seconds=given.wait,
            progress=bar,
        )
    if given.page is not None:
        given.page.write_text(rehearsal_page(told, site.template_dirs), encoding="utf-8")
    if given.json:
        return _print(record(told), "", given)
    return _print({}, rehearsal_text(told, site.template_dirs), given)


def _schedule(given: argparse.Namespace) -> int:
    from takeup import schedule

    logging.basicConfig(level=logging.INFO, format="%(asctime)s %(levelname)s %(message)s")
    schedule.run(given.site, every_minutes=given.every_minutes)
    return 0


def _rebuild(given: argparse.Namespace) -> int:
    from takeup.retell import rebuild
    from takeup.site import Site

    with _Bar() as bar:
        told = rebuild(Site.open(given.site), wait_seconds=given.wait, progress=bar)
    _say(told, given)
    return 0 if told.equal else 1


def _replay(given: argparse.Namespace) -> int:
    from takeup.retell import replay
    from takeup.site import Site

    if (given.night is None) != given.all:
        raise UsageError("a replay needs the number of a night, or --all in its place")
    with _Bar() as bar:
        told = replay(
            Site.open(given.site), given.night, into=given.into, wait_seconds=given.wait, progress=bar
        )
    _say(told, given)
    return 0 if told.equal else 1


def _verify(given: argparse.Namespace) -> int:
    from takeup.site import Site
    from takeup.verify import verify

    with _Bar() as bar:
        told = verify(Site.open(given.site), head=" ".join(given.head), wait_seconds=given.wait, progress=bar)
    _say(told, given)
    return 0 if told.sound else 1


def _print(record: dict[str, Any], text: str, given: argparse.Namespace) -> int:
    print(json.dumps(record, ensure_ascii=False, indent=1) if given.json else text)
    return 0


def _say(told: Any, given: argparse.Namespace) -> int:
    """Print what was told in the form asked for; the other one, long for many rows, is not made."""
    print(json.dumps(told.as_dict(), ensure_ascii=False, indent=1) if given.json else told.text())
    return 0


class _Bar:
    """A progress bar on a terminal, nothing where standard error is not one; and where a stop is heeded.

    DuckDB loses a KeyboardInterrupt that comes while a query ends, or makes an error of its own of it. So the
    asking is remembered too: the next step of the work does not begin, and an error after it is the stop.
    """

    def __init__(self) -> None:
        self._bar: Any = None
        self._step = ""
        self._asked = False
        self._before: Any = None

    def __enter__(self) -> _Bar:
        # Where interrupts are not heard at all, in a shell's background for one, they go on unheard.
        if signal.getsignal(signal.SIGINT) is signal.default_int_handler:
            self._before = signal.signal(signal.SIGINT, self._stop)
        return self

    def __exit__(self, _: object, error: BaseException | None, __: object) -> None:
        if self._before is not None:
            signal.signal(signal.SIGINT, self._before)
        if self._asked and error is not None and not isinstance(error, KeyboardInterrupt):
            raise KeyboardInterrupt from error

    def _stop(self, *_: object) -> None:
        self._asked = True
        raise KeyboardInterrupt

    def __call__(self, step: str, done: int, total: int) -> None:
        if self._asked:
            raise KeyboardInterrupt
        if not sys.stderr.isatty():
            return
        from tqdm import tqdm

        if step != self._step:
            if self._bar is not None:
                self._bar.close()
            self._step, self._bar = step, tqdm(total=total, desc=step, leave=False)
        self._bar.total = total
        self._bar.update(done - self._bar.n)
        if done >= total:
            self._bar.close()
            self._bar, self._step = None, ""
