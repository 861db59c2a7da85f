"""What the register of energy sources lacks before a machine can be locked out by it."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from typing import Any, NamedTuple

#: what a source can lack, and the column of the register that is then blank
BLANK = {
    "no_magnitude": "magnitude",
    "no_isolation_point": "isolation_point",
    "no_isolated_how": "isolated_how",
    "no_released_how": "released_how",
    "no_verified_how": "verified_how",
    "no_procedure_for_source": "procedure_number",
}
#: every code; the reader's sentence is ``sentences/lacking/<code>``
CODES = ("no_sources", "no_procedure", *BLANK, "no_longer_exported")


class Lacking(NamedTuple):
    """One thing that the register lacks: a code of :data:`CODES`, and its source; '' for the machine."""

    code: str
    source: str = ""


def lacking(sources: Iterable[Mapping[str, Any]]) -> tuple[Lacking, ...]:
    """What the register lacks for the lockout of one machine; nothing where it says all that is asked.

    A machine must have its sources named, each with its magnitude, where and how it is isolated, how stored
    energy is relieved and how that is verified, and a written procedure (29 CFR 1910.147 (c)(4) asks for the
    procedure, (d) for the steps that need the rest). That the list is whole no register can prove.

    Parameters
    ----------
    sources : iterable of mapping
        The machine's rows of the feed energy_sources: the columns of :data:`BLANK`, ``source``, and
        ``exported``, false once a whole export no longer holds the row.

    Examples
    --------
    >>> lacking([])
    (Lacking(code='no_sources', source=''), Lacking(code='no_procedure', source=''))
    """
    rows = list(sources)
    found = [] if rows else [Lacking("no_sources")]
    if not any(row["procedure_number"].strip() for row in rows):
        found.append(Lacking("no_procedure"))
    for row in rows:
        found += [Lacking(code, row["source"]) for code, column in BLANK.items() if not row[column].strip()]
        if not row["exported"]:
            found.append(Lacking("no_longer_exported", row["source"]))
    return tuple(found)
