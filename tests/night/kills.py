"""Kill a night at random instants and between its steps, and see that the next run ends as if none had been.

    python -m tests.night.kills [KILLS]

The night runs in a forked child, so that its instants are those of the job and not of imports.
"""

from __future__ import annotations

import importlib
import os
import random
import shutil
import signal
import sys
import tempfile
import time
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

from tests.night import plant
from tests.night.told import ONE, told

from takeup.ledger import Ledger
from takeup.night import intent as intents
from takeup.night import story

#: What a night is about to do when it is stopped, in the order of the night.
STEPS: tuple[tuple[str, object, str], ...] = (
    ("with an export half in the archive", importlib.import_module("takeup.feeds.archive"), "archive_path"),
    ("before the intent is written", intents, "write"),
    ("before the inbox is cleared", story.feeds, "release"),
    ("before the rows are taken", story, "tell"),
    ("with the rows in the store and no queue", story, "night_sheet"),
    ("with the queue staged and no record", Ledger, "append"),
    ("behind the commit, before the switch", story, "switch"),
    ("behind the switch, with the intent on the disk", intents, "remove"),
)


@dataclass(frozen=True)
class Outcome:
    """How many nights were killed, how many before their end, and which were told otherwise afterwards."""

    kills: int
    landed: int
    different: tuple[str, ...]


def run(kills: int, folder: Path, *, seed: int = 20260901) -> Outcome:
    """Kill nights between all steps and at as many random instants.

    Ledger, archive, inbox and queue are compared, to the byte, with the undisturbed night's.
    """
    ready = folder / "ready"
    plant.deliver(told(ready, 1, ONE), plant.exports(plant.NIGHTS[1], ONE))
    undisturbed = folder / "undisturbed"
    shutil.copytree(ready, undisturbed, symlinks=True)
    begun = time.monotonic()
    _tell(undisturbed)
    seconds = time.monotonic() - begun
    draw = random.Random(seed)
    moments = [draw.uniform(0, 1.1 * seconds) for _ in range(kills)]
    stops = [
        *(
            (says, lambda root, place=place, name=name: _stopped(root, place, name))
            for says, place, name in STEPS
        ),
        *((f"after {moment:.3f} s", lambda root, moment=moment: _killed(root, moment)) for moment in moments),
    ]
    return _compared(ready, folder / "killed", stops, _truth(undisturbed))


def _compared(
    ready: Path, root: Path, stops: list[tuple[str, Callable[[Path], bool]]], wanted: dict[str, bytes]
) -> Outcome:
    landed, different = 0, []
    for says, stop in stops:
        shutil.rmtree(root, ignore_errors=True)
        shutil.copytree(ready, root, symlinks=True)
        landed += stop(root)
        _tell(root)
        if _truth(root) != wanted:
            different.append(says)
    return Outcome(len(stops), landed, tuple(different))


def _truth(root: Path) -> dict[str, bytes]:
    """What must not differ: ledger, archive, inbox and the queue, with where ``current`` points."""
    found = {}
    for part in ("ledger", "archive", "inbox", "queue"):
        found |= {f"{part}/{name}": content for name, content in plant.told_files(root / part).items()}
    found["current"] = bytes((root / "queue" / "current").readlink())
    return found


def _tell(root: Path) -> None:
    _, status = os.waitpid(_fork(root), 0)
    if status != 0:
        raise RuntimeError(f"the night in {root} ended with status {status}")


def _killed(root: Path, moment: float) -> bool:
    """Start the night, kill it after a moment; whether the kill came before its end."""
    child = _fork(root)
    time.sleep(moment)
    os.kill(child, signal.SIGKILL)
    _, status = os.waitpid(child, 0)
    return os.WIFSIGNALED(status)


def _stopped(root: Path, place: object, name: str) -> bool:
    """Start the night and kill it when it is about to call that function."""

    def die(*_: object, **__: object) -> None:
        os.kill(os.getpid(), signal.SIGKILL)

    _, status = os.waitpid(_fork(root, lambda: setattr(place, name, die)), 0)
    return os.WIFSIGNALED(status)


def _fork(root: Path, prepare: Callable[[], None] = lambda: None) -> int:
    child = os.fork()
    if child == 0:
        try:
            prepare()
            story.nightly(root, as_of=plant.NIGHTS[1])
        except BaseException as error:  # noqa: BLE001 - the child must end here, whatever it met
            print(f"{type(error).__name__}: {error}", file=sys.stderr)
            os._exit(1)
        os._exit(0)
    return child


def main(kills: int) -> int:
    """Run, and say what came of it."""
    with tempfile.TemporaryDirectory(prefix="takeup-kills-") as scratch:
        outcome = run(kills, Path(scratch))
    print(
        f"{outcome.kills} kills, {outcome.landed} before the night's end, {len(outcome.different)} different"
    )
    print("\n".join(outcome.different))
    return 1 if outcome.different or outcome.landed < len(STEPS) else 0


if __name__ == "__main__":
    raise SystemExit(main(int(sys.argv[1]) if len(sys.argv) > 1 else 100))
