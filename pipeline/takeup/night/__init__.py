"""The night: the whole job as one story."""

from takeup.night.result import NightResult
from takeup.night.story import nightly

__all__ = ["NightResult", "nightly"]
