"""Rows that people set aside, as the ledger tells them: shown among the rows kept out from then on.

They are settled and ask for nothing; but a row that is not used stands where readers look for it, with who
said so and why.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from datetime import date
from pathlib import Path
from typing import Any

from takeup.feeds import SourceDialect
from takeup.model import Accounting, KeptOut
from takeup.night.lines import text_lines

#: the reader's sentence is ``sentences/set_aside/by_a_person``
REASON = "by_a_person"


def set_aside_by_people(
    nights: Iterable[Mapping[str, Any]],
    tonight: Iterable[Accounting],
    archive: Path,
    sources: Iterable[SourceDialect],
) -> list[KeptOut]:
    """Every row that a person set aside, once, by the decision that the first night acted on.

    Parameters
    ----------
    nights : iterable of mapping
        The nights' records, oldest first, the present one last; it need not hold its accounts yet.
    tonight : iterable of Accounting
        The accounts of the present night.
    archive : Path
    sources : iterable of SourceDialect
        Those of the settings in force; they tell how the files read.
    """
    encodings = {source.name: source.encoding for source in sources}
    written: dict[str, str] = {}
    feeds = {one.sha256: one.feed for one in tonight}
    found: dict[tuple[str, int], KeptOut] = {}
    lines: dict[str, list[str]] = {}
    for night in nights:
        feeds |= {one["sha256"]: one["feed"] for one in night.get("accounting", ())}
        written |= {one["sha256"]: encodings.get(one["source"], "utf-8") for one in night["files"]}
        for row in night["set_aside"]:
            place = row["sha256"], row["line"]
            if place in found:
                continue
            if row["sha256"] not in lines:
                lines[row["sha256"]] = text_lines(
                    archive, row["sha256"], (written.get(row["sha256"], "utf-8"),)
                )
            text = lines[row["sha256"]]
            found[place] = KeptOut(
                state="set aside",
                reason=REASON,
                feed=feeds.get(row["sha256"], ""),
                file=row.get("file", ""),
                sha256=row["sha256"],
                line=row["line"],
                raw=text[row["line"] - 1] if 0 < row["line"] <= len(text) else "",
                by=row.get("by", ""),
                remark=row.get("reason", ""),
                since=date.fromisoformat(night["as_of"]),
            )
    return list(found.values())
