"""The numbered table of past forecasts: renewed on the first night of a month, and archived."""

from __future__ import annotations

import json
from pathlib import Path

import rfc8785

from takeup.derive.derivation import Derived
from takeup.judgement.fleet import fleet_record
from takeup.judgement.settings import JudgementSettings
from takeup.night.intent import Intent
from takeup.site.folders import recall
from takeup.wear.calibration import FORM, FleetTable


def fleet_before(intent: Intent, archive: Path) -> bytes | None:
    """The archived table of the night before, None where there was none.

    Raises
    ------
    StoreError
        If the archive does not hold it as it was.
    """
    return recall(archive, intent.fleet) if intent.fleet else None


def fleet_in_force(
    intent: Intent, before: bytes | None, derived: Derived, settings: JudgementSettings
) -> tuple[FleetTable, bytes]:
    """The table a night judges by, and its bytes for the archive.

    It is that of the night before, or a new one if the night is the first told in its month, or the first by
    a version that writes tables in another form.
    """
    number, day = 1, intent.previous_as_of
    if before:
        last = json.loads(before)
        same_month = day and (day.year, day.month) == (intent.as_of.year, intent.as_of.month)
        if same_month and last.get("form") == FORM:
            return FleetTable.from_dict(last), before
        number = last["number"] + 1
    table = fleet_record(
        number, intent.as_of.isoformat(), derived.lives, derived.surveys, derived.machines, settings
    )
    return table, rfc8785.dumps(table.to_dict())


def recalled_fleet(sha256: str, archive: Path) -> FleetTable:
    """A table from the archive."""
    return FleetTable.from_dict(json.loads(recall(archive, sha256)))
