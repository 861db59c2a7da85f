"""The numbered table of past forecasts: renewed on the first night of a month, and archived."""

from __future__ import annotations

import json
from pathlib import Path

import rfc8785

from takeup.derive.derivation import Derived
from takeup.judgement.fleet import fleet_record
from takeup.judgement.settings import JudgementSettings
from takeup.night.intent import Intent
from takeup.site.folders import keep, recall
from takeup.wear.calibration import FORM, FleetTable


def fleet_in_force(
    intent: Intent, derived: Derived, settings: JudgementSettings, archive: Path
) -> tuple[FleetTable, str]:
    """The table a night judges by, and its SHA-256 in the archive.

    It is that of the night before, or a new one if the night is the first told in its month, or the first by
    a version that writes tables in another form.
    """
    number, before = 1, intent.previous_as_of
    if intent.fleet:
        last = json.loads(recall(archive, intent.fleet))
        same_month = before and (before.year, before.month) == (intent.as_of.year, intent.as_of.month)
        if same_month and last.get("form") == FORM:
            return FleetTable.from_dict(last), intent.fleet
        number = last["number"] + 1
    table = fleet_record(
        number, intent.as_of.isoformat(), derived.lives, derived.surveys, derived.machines, settings
    )
    return table, keep(rfc8785.dumps(table.to_dict()), archive)


def recalled_fleet(sha256: str, archive: Path) -> FleetTable:
    """A table from the archive."""
    return FleetTable.from_dict(json.loads(recall(archive, sha256)))
