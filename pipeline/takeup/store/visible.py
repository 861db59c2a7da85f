"""Which rows hold: known by a night, in force, dated, with their parents known.

Every function gives SQL that stands where a table or a condition does.
"""

from __future__ import annotations

from dataclasses import dataclass

from takeup.contracts import Contract, contract
from takeup.model import Feed
from takeup.store.quoting import name, text


@dataclass(frozen=True)
class At:
    """A standpoint: what was known by a night, and the day number up to which rows count.

    Attributes
    ----------
    rehearsed : bool
        Whether the day decides what was known too: a night's rows from its ``as of``, but those of a feed's
        first load from their own date plus the feed's usual delay.
    """

    night: int
    day: int
    rehearsed: bool = False


def in_force(feed: Feed, at: At, *, missing: bool = False) -> str:
    """The version in force of every key, retracted ones left out.

    Parameters
    ----------
    feed : Feed
    at : At
    missing : bool
        Whether rows stay that a later whole export no longer holds.
    """
    ending = _told(at, "ended.night", feed) + (" AND ended.how <> 'missing'" if missing else "")
    return (
        f"(SELECT * FROM {name(feed.value)} f WHERE {_known(contract(feed), at)} AND withdrawn <> 'yes' "
        f"AND NOT EXISTS (SELECT 1 FROM ended WHERE ended.row_id = f.row_id AND {ending}))"
    )


def _told(at: At, night: str, feed: Feed) -> str:
    """Whether a night of the store had been told by a standpoint."""
    told = f"{night} <= {at.night}"
    if not at.rehearsed:
        return told
    early = (
        f"SELECT number FROM night WHERE as_of <= DATE '1970-01-01' + {at.day} UNION ALL {_first_load(feed)}"
    )
    return f"{told} AND {night} IN ({early})"


def _known(rules: Contract, at: At) -> str:
    """Whether a row ``f`` was known at a standpoint."""
    if not at.rehearsed:
        return f"f.known_from <= {at.night}"
    told = _told(at, "f.known_from", rules.feed)
    if not rules.event:
        return told
    in_time = f"f.{name(rules.event_day)} + {rules.usual_delay_days} <= {at.day}"
    return f"{told} AND (f.known_from NOT IN ({_first_load(rules.feed)}) OR {in_time})"


def _first_load(feed: Feed) -> str:
    return f"SELECT min(night) FROM file WHERE feed = {text(feed.value)} AND refused_whole = ''"


def delivered(feed: Feed, at: At) -> str:
    """Whether a feed was ever delivered by then."""
    return (
        f"(SELECT count(*) > 0 FROM file WHERE feed = {text(feed.value)} "
        f"AND night <= {at.night} AND refused_whole = '')"
    )


def parents_known(rules: Contract, alias: str, at: At, *, missing: bool = False) -> str:
    """Whether every filled reference of a row names a row that holds itself."""
    tests = []
    for column, parent in rules.refers.items():
        cell = f"{alias}.{name(column)}"
        known = f"SELECT {name(contract(parent).key[0])} FROM {holding(parent, at, missing=missing)}"
        tests.append(f"({cell} = '' OR NOT {delivered(parent, at)} OR {cell} IN ({known}))")
    return " AND ".join(tests) or "TRUE"


def dated(rules: Contract, alias: str, at: At) -> str:
    """Whether a row is dated up to the day."""
    return f"{alias}.{name(rules.event_day)} <= {at.day}" if rules.event else "TRUE"


def holding(feed: Feed, at: At, *, missing: bool = False) -> str:
    """The rows that hold."""
    rules = contract(feed)
    return (
        f"(SELECT * FROM {in_force(feed, at, missing=missing)} r "
        f"WHERE {dated(rules, 'r', at)} AND {parents_known(rules, 'r', at)})"
    )


def waiting(feed: Feed, at: At) -> str:
    """The rows in force that wait, each with its reason as ``waits_for``; some feeds have a ``reason``."""
    rules = contract(feed)
    cases = []
    for column, parent in rules.refers.items():
        cell = f"r.{name(column)}"
        known = f"SELECT {name(contract(parent).key[0])} FROM {holding(parent, at, missing=True)}"
        reason = text(f"{column}_unknown")
        cases.append(
            f"WHEN {cell} <> '' AND {delivered(parent, at)} AND {cell} NOT IN ({known}) THEN {reason}"
        )
    if rules.event:
        cases.append(f"WHEN r.{name(rules.event_day)} > {at.day} THEN 'dated_later'")
    if not cases:
        return f"(SELECT *, '' AS waits_for FROM {name(feed.value)} WHERE FALSE)"
    return (
        f"(SELECT * FROM (SELECT r.*, CASE {' '.join(cases)} ELSE '' END AS waits_for "
        f"FROM {in_force(feed, at)} r) "
        "WHERE waits_for <> '')"
    )
