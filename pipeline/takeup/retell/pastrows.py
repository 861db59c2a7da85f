"""All rows of a site in memory, and what of them was known on each day.

A past day sees a row from the day of the night that took it; a row of a feed's first load from its own date
plus the feed's usual delay, and a register's from the beginning, because nobody knows any more when it came.
"""

from __future__ import annotations

from collections.abc import Collection, Iterable, Iterator, Sequence
from datetime import date
from typing import TYPE_CHECKING, Any

import numpy as np
import pandas as pd

from takeup.contracts import contract
from takeup.derive.derivation import EPOCH, READ
from takeup.model import Feed
from takeup.wear.arguments import Flags, Whole

if TYPE_CHECKING:
    from takeup.store import Store

#: the group of a row that bears on every machine
EVERYBODY = -1


class PastRows:
    """Every version of every row with the days between which it was known, by *group*.

    A group is what has to be judged together: the strands of one machine, of its sets, and of the machines
    that these stand on.

    Attributes
    ----------
    groups : int
        How many there are.
    first_day : int
        Day number of the first reading.
    """

    def __init__(self, store: Store) -> None:
        self._frames: dict[Feed, pd.DataFrame] = {}
        for feed in Feed:
            columns = READ.get(feed)
            self._frames[feed] = store.past_rows(feed, columns=columns, by_key=columns is None)
        self._delivered = {feed: store.first_delivery(feed) for feed in Feed}
        self._last = {feed: store.last_delivery(feed) for feed in Feed}
        self._group = _Groups(self._frames)
        self.groups = self._group.count
        self._of = {feed: self._group.of_rows(frame) for feed, frame in self._frames.items()}
        self._days = {
            feed: (frame["known_since"].to_numpy(np.int64), frame["known_until"].to_numpy(np.int64))
            for feed, frame in self._frames.items()
        }
        self._cells = {
            feed: [(parent, frame[column].to_numpy(dtype=object)) for column, parent in _parents(feed, frame)]
            for feed, frame in self._frames.items()
        }
        read = self._frames[Feed.ELONGATION_READINGS]
        self.first_day = int(read["known_since"].min()) if len(read) else 0

    @property
    def strands(self) -> int:
        """How many strands any row names."""
        return self._group.strands

    def first_loads(self, days: int) -> tuple[str, ...]:
        """The feeds of dated rows whose first load brought more than so many days at once."""
        found = []
        for feed, frame in self._frames.items():
            event = contract(feed).event
            its = frame.loc[frame["known_from"] == self._delivered[feed]] if event else frame.iloc[:0]
            if len(its) and np.ptp(its[f"{event}_day"].to_numpy(dtype=np.float64)) > days:
                found.append(feed.value)
        return tuple(found)

    def known_all_along(self) -> tuple[str, ...]:
        """The feeds without dates that were delivered: their first load counts as known all along."""
        return tuple(
            feed.value
            for feed, night in self._delivered.items()
            if night is not None and not contract(feed).event
        )

    def group_of(self, strands: Iterable[str]) -> Whole:
        """The group of each strand by name."""
        return self._group.of_names(strands)

    def group_named(self, kind: str, name: str, machine: str) -> int:
        """The group of a verdict's subject, or of its machine; :data:`EVERYBODY` where none is named."""
        return self._group.named(kind, name, machine)

    def holds(self, feed: Feed, day: int) -> Flags:
        """Which of a feed's rows were known, in force and dated, and their parents too."""
        begin, end = self._days[feed]
        here = (begin <= day) & (end > day)
        for parent, cells in self._cells[feed]:
            if self._delivered[parent] is not None and here.any():
                known = self._names(parent, day)
                at = np.flatnonzero(here)
                here[at] = [cell == "" or cell in known for cell in cells[at].tolist()]
        return here

    def _names(self, parent: Feed, day: int) -> set[str]:
        rows = self._frames[parent]
        return set(rows[contract(parent).key[0]].to_numpy(dtype=object)[self.holds(parent, day)])

    def changed(self, after: int, until: int, feeds: Collection[Feed] = tuple(Feed)) -> Whole:
        """The groups that a row came, ended or was removed for after one day and up to another.

        :data:`EVERYBODY` among them where a row bears on every machine.
        """
        found: list[Whole] = []
        for feed in feeds:
            frame = self._frames[feed]
            moments = [*self._days[feed]]
            if feed is Feed.STRANDS:
                moments.append(frame["removed_on_day"].fillna(0).to_numpy(np.int64))
            touched = np.zeros(len(frame), dtype=bool)
            for moment in moments:
                touched |= (moment > after) & (moment <= until)
            found.append(self._of[feed][touched])
        return np.unique(np.concatenate(found)) if found else np.zeros(0, dtype=np.int64)

    def seen_by(self, groups: Flags, day: int, before: int) -> View:
        """What was known of some groups on a day; ``before`` is the day they were derived last."""
        return View(self, groups, day, before)

    def frame(self, feed: Feed, day: int, groups: Flags | None = None) -> pd.DataFrame:
        """The rows of a feed that held on a day, of all groups or some."""
        here = self.holds(feed, day)
        if groups is not None:
            its = self._of[feed]
            here &= (its == EVERYBODY) | groups[its]
        return self._frames[feed].loc[here].reset_index(drop=True)

    def first_delivery(self, feed: Feed) -> int | None:
        """Night of a feed's first delivery."""
        return self._delivered[feed]

    def last_delivery(self, feed: Feed) -> Any:
        """The last delivery of a feed."""
        return self._last[feed]

    def strands_of(self, groups: Whole) -> set[str]:
        """The strands of some groups."""
        return self._group.strands_of(groups)


class View:
    """The rows of some groups on one day, as :func:`takeup.derive.derivation.derive` asks for them."""

    def __init__(self, past: PastRows, groups: Flags, day: int, before: int) -> None:
        self._past, self._groups, self._day, self._before = past, groups, day, before
        self.caches: dict[str, pd.DataFrame] = {}

    def rows(
        self,
        feed: Feed,
        *,
        as_of: date,
        night: int | None = None,  # noqa: ARG002 the day alone says what was known
        subjects: Iterable[str] | None = None,
        columns: Sequence[str] | None = None,  # noqa: ARG002 as loaded
        by_key: bool = True,  # noqa: ARG002 as loaded
        checked_by: int = 0,  # noqa: ARG002 held against its contract when loaded
    ) -> pd.DataFrame:
        """The rows of a feed that held."""
        told = self._past.frame(feed, (as_of - EPOCH).days, self._groups)
        if subjects is not None:
            told = told.loc[told["strand"].isin(set(subjects))].reset_index(drop=True)
        return told.assign(exported=True) if feed is Feed.ENERGY_SOURCES else told

    def effective_changes(
        self,
        night: int,  # noqa: ARG002
        as_of: date,  # noqa: ARG002
        previous_as_of: date | None,  # noqa: ARG002
        feeds: Iterable[Feed],
    ) -> dict[str, set[str]]:
        """The strands of groups that something changed for since the day before."""
        groups = self._past.changed(self._before, self._day, tuple(feeds))
        return {"strand": self._past.strands_of(groups), "machine": set()}

    def read_cache(self, table: str, strands: Iterable[str] | None = None) -> pd.DataFrame:  # noqa: ARG002
        """What was derived before."""
        return self.caches.get(table, pd.DataFrame())

    def first_delivery(self, feed: Feed) -> int | None:
        """Night of a feed's first delivery."""
        return self._past.first_delivery(feed)

    def last_delivery(self, feed: Feed, night: int | None = None) -> Any:  # noqa: ARG002
        """The last delivery of a feed."""
        return self._past.last_delivery(feed)

    def origins(self, row_ids: Iterable[int]) -> pd.DataFrame:
        """No file and line: nobody prints what a rehearsal set aside."""
        return pd.DataFrame({"row_id": sorted(row_ids), "file": "", "sha256": "", "line": 0})


class _Groups:
    """Which machines, sets and strands have to be judged together, by all that any version of a row says."""

    def __init__(self, frames: dict[Feed, pd.DataFrame]) -> None:
        self._leader: dict[tuple[str, str], tuple[str, str]] = {}
        lives = frames[Feed.STRANDS]
        for strand, machine, name in zip(lives["strand"], lives["machine"], lives["set"], strict=True):
            for other in (("machine", machine), ("set", name)):
                if other[1]:
                    self._join(("strand", strand), other)
        for kind, name in _named(frames):
            self._find((kind, name))
        leaders = {self._find(one) for one in list(self._leader)}
        number = {leader: place for place, leader in enumerate(sorted(leaders))}
        self._number = {one: number[self._find(one)] for one in list(self._leader)}
        self.count = len(number)
        self._strands: dict[int, set[str]] = {}
        for (kind, name), group in self._number.items():
            if kind == "strand":
                self._strands.setdefault(group, set()).add(name)

    @property
    def strands(self) -> int:
        return sum(kind == "strand" for kind, _ in self._number)

    def of_rows(self, frame: pd.DataFrame) -> Whole:
        """The group of each row: of its strand, else of its machine, else everybody's."""
        found = np.full(len(frame), EVERYBODY, dtype=np.int64)
        for kind in ("machine", "strand"):
            if kind in frame:
                codes, names = pd.factorize(frame[kind].to_numpy(dtype=object))
                group = np.array([self._number.get((kind, name), EVERYBODY) for name in names] + [EVERYBODY])
                its = group[codes]
                found = np.where(its >= 0, its, found)
        return found

    def of_names(self, strands: Iterable[str]) -> Whole:
        return np.array([self._number[("strand", name)] for name in strands], dtype=np.int64)

    def named(self, kind: str, name: str, machine: str) -> int:
        return self._number.get((kind, name), self._number.get(("machine", machine), EVERYBODY))

    def strands_of(self, groups: Whole) -> set[str]:
        if EVERYBODY in groups:
            return {name for names in self._strands.values() for name in names}
        return {name for group in groups.tolist() for name in self._strands.get(group, ())}

    def _find(self, one: tuple[str, str]) -> tuple[str, str]:
        leader = self._leader.setdefault(one, one)
        while leader != self._leader[leader]:
            leader = self._leader[leader]
        self._leader[one] = leader
        return leader

    def _join(self, one: tuple[str, str], other: tuple[str, str]) -> None:
        a, b = self._find(one), self._find(other)
        self._leader[max(a, b)] = min(a, b)


def _named(frames: dict[Feed, pd.DataFrame]) -> Iterator[tuple[str, str]]:
    """Every machine and strand that any row names."""
    for frame in frames.values():
        for kind in ("machine", "strand"):
            if kind in frame:
                yield from ((kind, name) for name in pd.unique(frame[kind]) if name)


def _parents(feed: Feed, frame: pd.DataFrame) -> list[tuple[str, Feed]]:
    return [(column, parent) for column, parent in contract(feed).refers.items() if column in frame]
