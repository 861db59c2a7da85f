"""What an audit found, as plain text for a terminal and as JSON-able records.

The words are ours alone: a site's own templates do not speak here, since they are part of what is checked.
"""

from __future__ import annotations

import html
from collections.abc import Iterable
from typing import Any

from takeup.audit.difference import Audit, Difference, Part
from takeup.documents.environment import environment
from takeup.documents.sentences import sentence
from takeup.ledger import grouped
from takeup.resources import templates_dir

#: longest list on a terminal; ``--json`` holds all
LONGEST_LIST = 20


def audit_text(audit: Audit) -> str:
    """What an audit found, for people."""
    env = environment([templates_dir()])
    text = env.get_template("text/verify.txt.j2").render(
        audit=audit,
        head=grouped(audit.head[:16]),
        differences=_told(audit.differences, audit),
        told=_told(audit.told, audit),
        limit=LONGEST_LIST,
    )
    return html.unescape(text).strip()


def audit_record(audit: Audit) -> dict[str, Any]:
    """What an audit found, for programs."""
    return {
        "sound": not audit.differences,
        "nights": audit.nights,
        "decisions": audit.decisions,
        "head": audit.head,
        "head_given": audit.head_given,
        "records_vouched_for": audit.vouched,
        "archived_files": audit.archived,
        "store_rows": audit.rows,
        "published_files": audit.published,
        "differences": _told(audit.differences, audit),
        "told": _told(audit.told, audit),
    }


def _told(found: Iterable[Difference], audit: Audit) -> list[dict[str, Any]]:
    env = environment([templates_dir()])
    records: list[dict[str, Any]] = []
    for one in found:
        facts = dict(one.facts)
        if one.part is Part.QUEUE:  # what to do about the last night's is another thing than about older ones
            facts.setdefault("last", one.night == audit.nights)
        records.append(
            {
                "part": one.part.value,
                "code": one.code,
                "where": one.where,
                "night": one.night,
                **{
                    part: sentence(env, "difference", one.code, facts, part=part)
                    for part in ("what", "why", "todo")
                },
            }
        )
    return records
