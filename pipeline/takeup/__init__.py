"""takeup: which chains of a plant need which job, why, and by when.

``takeup.nightly(site)`` tells a site's night; ``takeup.schedule.add_to(scheduler, site)`` puts it on a host's
own APScheduler. What is heavy is imported when it is first asked for.
"""

from __future__ import annotations

from importlib import import_module
from typing import Any

__all__ = ["NightResult", "TakeupError", "nightly", "schedule"]

_HOMES = {
    "NightResult": ("takeup.night", "NightResult"),
    "TakeupError": ("takeup.errors", "TakeupError"),
    "nightly": ("takeup.night", "nightly"),
    "schedule": ("takeup.schedule", ""),
}


def __getattr__(name: str) -> Any:
    if name not in _HOMES:
        raise AttributeError(f"module 'takeup' has no attribute {name!r}")
    module, attribute = _HOMES[name]
    found = import_module(module)
    return getattr(found, attribute) if attribute else found
