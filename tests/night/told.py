"""Sites of the small plant with nights told, made once a process and copied for every test."""

from __future__ import annotations

import atexit
import shutil
import tempfile
from functools import cache
from pathlib import Path

from tests.night import plant

from takeup.night import nightly
from takeup.site import Site

#: One machine is enough where the test is about bytes and not about jobs.
ONE = ("FE-32",)


def told(root: Path, nights: int, machines: tuple[str, ...] = plant.MACHINES) -> Site:
    """A copy of the site after its first nights, to do with as one likes."""
    shutil.copytree(_told(nights, machines), root, symlinks=True)
    return Site.open(root)


def told_next(site: Site, night: int, machines: tuple[str, ...] = plant.MACHINES):
    """Deliver the exports of a night (from 0) and tell it."""
    plant.deliver(site, plant.exports(plant.NIGHTS[night], machines))
    return nightly(site, as_of=plant.NIGHTS[night])


@cache
def _told(nights: int, machines: tuple[str, ...]) -> Path:
    folder = Path(tempfile.mkdtemp(prefix="takeup-told-"))
    atexit.register(shutil.rmtree, folder, ignore_errors=True)
    root = folder / "site"
    if nights == 0:
        plant.site(root)
    else:
        told_next(told(root, nights - 1, machines), nights - 1, machines)
    return root
