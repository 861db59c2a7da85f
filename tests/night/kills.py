"""Stop a night at random instants with SIGKILL; the next run must end where an undisturbed one would.

    python -m tests.night.kills [KILLS]

The night runs in a forked child of this process: its instants are those of the job and not of imports.
"""

from __future__ import annotations

import os
import random
import shutil
import signal
import sys
import tempfile
import time
from dataclasses import dataclass
from pathlib import Path

from tests.night import plant

from takeup.night import nightly


@dataclass(frozen=True)
class Outcome:
    """How many nights were killed before their end, and at which of them something differed."""

    kills: int
    landed: int
    different: tuple[str, ...]


def run(kills: int, folder: Path, *, seed: int = 20260901) -> Outcome:
    """Kill as many nights and compare ledger and queue, to the byte, with the undisturbed night's."""
    ready = _ready(folder / "ready")
    wanted, seconds = _undisturbed(ready, folder / "undisturbed")
    draw = random.Random(seed)
    landed, different = 0, []
    for number in range(kills):
        root = folder / "killed"
        shutil.rmtree(root, ignore_errors=True)
        shutil.copytree(ready, root, symlinks=True)
        moment = draw.uniform(0, 1.1 * seconds)
        landed += _killed(root, moment)
        _in_child(root)
        if _truth(root) != wanted:
            different.append(f"kill {number} after {moment:.3f} s")
    return Outcome(kills, landed, tuple(different))


def _ready(root: Path) -> Path:
    """A site with one night told and the next one's exports in its inbox."""
    site = plant.site(root)
    plant.deliver(site, plant.exports(plant.NIGHTS[0]))
    nightly(site, as_of=plant.NIGHTS[0])
    plant.deliver(site, plant.exports(plant.NIGHTS[3]))
    return root


def _undisturbed(ready: Path, root: Path) -> tuple[dict[str, bytes], float]:
    shutil.copytree(ready, root, symlinks=True)
    begun = time.monotonic()
    _in_child(root)
    return _truth(root), time.monotonic() - begun


def _truth(root: Path) -> dict[str, bytes]:
    """What must not differ: ledger, archive, inbox and the queue, with where ``current`` points."""
    found = {}
    for part in ("ledger", "archive", "inbox", "queue"):
        found |= {f"{part}/{name}": content for name, content in plant.told_files(root / part).items()}
    found["current"] = str((root / "queue" / "current").readlink()).encode()
    return found


def _in_child(root: Path) -> None:
    child = _fork(root)
    _, status = os.waitpid(child, 0)
    if status != 0:
        raise RuntimeError(f"the night in {root} ended with status {status}")


def _killed(root: Path, moment: float) -> bool:
    """Start the night, kill it after a moment; whether the kill came before its end."""
    child = _fork(root)
    time.sleep(moment)
    os.kill(child, signal.SIGKILL)
    _, status = os.waitpid(child, 0)
    return os.WIFSIGNALED(status)


def _fork(root: Path) -> int:
    child = os.fork()
    if child == 0:
        try:
            nightly(root, as_of=plant.NIGHTS[3])
        except BaseException as error:  # noqa: BLE001 - a forked child must never return
            print(f"{type(error).__name__}: {error}", file=sys.stderr)
            os._exit(1)
        os._exit(0)
    return child


if __name__ == "__main__":
    with tempfile.TemporaryDirectory(prefix="takeup-kills-") as scratch:
        outcome = run(int(sys.argv[1]) if len(sys.argv) > 1 else 100, Path(scratch))
    print(
        f"{outcome.kills} kills, {outcome.landed} before the night's end, {len(outcome.different)} different"
    )
    print("\n".join(outcome.different))
    raise SystemExit(1 if outcome.different else 0)
