"""A night told again held against what the ledger recorded of it: to the byte, or order by order.

Under the versions that told it, every file and every word of its record must be the same. Under others pages
may be drawn otherwise; then its orders are held against those it published, field by field.
"""

from __future__ import annotations

from collections.abc import Hashable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from enum import StrEnum
from itertools import zip_longest
from typing import Any

ORDERS = "orders.json"

#: Fields of a night's record that cannot differ by its telling, or that are compared file by file.
_NOT_TOLD = ("kind", "number", "previous", "queue", "versions", "wrote")

#: What a night counts and decides: the same under any version, or the difference is named.
_OF_ANY_VERSION = ("accounting", "events")

#: By what the items of a list are known, most telling first; a list whose items have none goes by place.
_KNOWN_BY = (("number",), ("rule", "subject", "case"), ("name",), ("part", "file", "line"))


class _Absent:
    """Stands where one side has nothing, which is not the same as null."""

    def __repr__(self) -> str:
        return "absent"


ABSENT = _Absent()


class Kind(StrEnum):
    """What differs."""

    FILE = "file"
    ORDER = "order"
    FIELD = "field"
    RECORD = "record"


@dataclass(frozen=True)
class Difference:
    """One thing that did not come out as recorded.

    Attributes
    ----------
    kind : Kind
        A published file, a whole order, a field of orders.json, or a field of the night's record.
    name : str
        The file's path, the order's number, or the path of the field.
    order : str
        Number of the order a field belongs to; blank for other differences.
    recorded, told : JSON value, SHA-256 of a file, or ABSENT
        Then, and told again.
    """

    kind: Kind
    name: str
    order: str
    recorded: Any
    told: Any

    def as_dict(self) -> dict[str, Any]:
        """As JSON-able values; a side that has nothing is left out."""
        sides = {"recorded": self.recorded, "told": self.told}
        return {
            "kind": self.kind.value,
            "name": self.name,
            "order": self.order or None,
            **{name: value for name, value in sides.items() if value is not ABSENT},
        }


@dataclass(frozen=True)
class OtherVersion:
    """A package of another version than the one that told a night; blank where it was or is not there."""

    package: str
    then: str
    now: str


@dataclass(frozen=True)
class NightCompared:
    """What became of holding one night against its record.

    Attributes
    ----------
    number : int
    as_of : date
    other_versions : tuple of OtherVersion
        None of them: the night was compared to the byte.
    files : int
        How many files it published.
    by_field : bool
        Whether the orders it published then were at hand, so that they could be compared field by field.
    differences : tuple of Difference
    """

    number: int
    as_of: date
    other_versions: tuple[OtherVersion, ...]
    files: int
    by_field: bool
    differences: tuple[Difference, ...]

    @property
    def equal(self) -> bool:
        """Whether it came out as recorded."""
        return not self.differences

    def as_dict(self) -> dict[str, Any]:
        """As JSON-able values."""
        return {
            "night": self.number,
            "as_of": self.as_of.isoformat(),
            "equal": self.equal,
            "compared": "orders" if self.other_versions else "bytes",
            "files": self.files,
            "by_field": self.by_field,
            "other_versions": [
                {"package": one.package, "then": one.then or None, "now": one.now or None}
                for one in self.other_versions
            ],
            "differences": [one.as_dict() for one in self.differences],
        }


def compared(
    recorded: Mapping[str, Any],
    told: Mapping[str, Any],
    orders_recorded: Mapping[str, Any] | None,
    orders_told: Mapping[str, Any],
) -> NightCompared:
    """Hold a night told again against its record.

    Parameters
    ----------
    recorded, told : mapping
        The night's record as the ledger has it, and as it would be written now; JSON values both.
    orders_recorded : mapping or None
        The orders.json it published, None where it is not at hand as it was.
    orders_told : mapping
        The orders.json it published this time.
    """
    others = other_versions(recorded["versions"], told["versions"])
    found: list[Difference] = []
    same = recorded["wrote"].get(ORDERS) == told["wrote"].get(ORDERS)
    by_field = [] if same or orders_recorded is None else list(_orders_apart(orders_recorded, orders_told))
    if others:
        found += by_field
        fields: Sequence[str] = _OF_ANY_VERSION
        if orders_recorded is None and not same:  # what is left of the orders then: the digest over the book
            fields = (*fields, "orders")
    else:
        found += _files_apart(recorded["wrote"], told["wrote"])
        found += by_field
        fields = sorted({*recorded, *told} - {*_NOT_TOLD})
    found += [
        Difference(Kind.RECORD, name, "", before, after)
        for name, before, after in _fields_apart(
            {name: recorded.get(name, ABSENT) for name in fields},
            {name: told.get(name, ABSENT) for name in fields},
        )
    ]
    return NightCompared(
        number=recorded["number"],
        as_of=date.fromisoformat(recorded["as_of"]),
        other_versions=others,
        files=len(recorded["wrote"]),
        by_field=orders_recorded is not None,
        differences=tuple(found),
    )


def other_versions(then: Mapping[str, str], now: Mapping[str, str]) -> tuple[OtherVersion, ...]:
    """The packages whose versions are not the same."""
    return tuple(
        OtherVersion(name, then.get(name, ""), now.get(name, ""))
        for name in sorted({*then, *now})
        if then.get(name) != now.get(name)
    )


def _files_apart(before: Mapping[str, str], after: Mapping[str, str]) -> Iterator[Difference]:
    for name in sorted({*before, *after}):
        one, other = before.get(name, ABSENT), after.get(name, ABSENT)
        if one != other:
            yield Difference(Kind.FILE, name, "", one, other)


def _orders_apart(before: Mapping[str, Any], after: Mapping[str, Any]) -> Iterator[Difference]:
    """What two documents of open orders say otherwise; the version of takeup they name is not one of it."""
    head, head_now = (
        {key: value for key, value in side.items() if key not in ("orders", "takeup")}
        for side in (before, after)
    )
    for name, one, other in _fields_apart(head, head_now):
        yield Difference(Kind.FIELD, name, "", one, other)
    then, now = ({order["number"]: order for order in side["orders"]} for side in (before, after))
    for number in sorted({*then, *now}):
        if number not in then or number not in now:
            one, other = (side.get(number, ABSENT) for side in (then, now))
            yield Difference(Kind.ORDER, number, "", one, other)
            continue
        for name, one, other in _fields_apart(then[number], now[number]):
            yield Difference(Kind.FIELD, name, number, one, other)
    shared = [[number for number in side if number in then and number in now] for side in (then, now)]
    if shared[0] != shared[1]:
        yield Difference(Kind.FIELD, "orders (sequence)", "", *shared)


def _fields_apart(before: Any, after: Any, path: str = "") -> Iterator[tuple[str, Any, Any]]:
    """Path, value before and value after of every field in which two JSON values differ."""
    if isinstance(before, Mapping) and isinstance(after, Mapping):
        for name in dict.fromkeys([*before, *after]):
            below = f"{path}.{name}" if path else str(name)
            yield from _fields_apart(before.get(name, ABSENT), after.get(name, ABSENT), below)
    elif isinstance(before, list) and isinstance(after, list):
        yield from _items_apart(before, after, path)
    elif type(before) is not type(after) or before != after:
        yield path, before, after


def _items_apart(before: Sequence[Any], after: Sequence[Any], path: str) -> Iterator[tuple[str, Any, Any]]:
    keys = next((keys for keys in _KNOWN_BY if _unique(before, keys) and _unique(after, keys)), None)
    if keys is None:
        for place, (one, other) in enumerate(zip_longest(before, after, fillvalue=ABSENT), start=1):
            yield from _fields_apart(one, other, f"{path}[{place}]")
        return
    then, now = ({_known(item, keys): item for item in side} for side in (before, after))
    for known in dict.fromkeys([*then, *now]):
        below = f"{path}[{' '.join(map(str, known))}]"
        yield from _fields_apart(then.get(known, ABSENT), now.get(known, ABSENT), below)
    if then.keys() == now.keys() and [*then] != [*now]:
        one, other = ([" ".join(map(str, known)) for known in side] for side in (then, now))
        yield f"{path} (sequence)", one, other


def _unique(items: Sequence[Any], keys: tuple[str, ...]) -> bool:
    if not all(isinstance(item, Mapping) and all(key in item for key in keys) for item in items):
        return False
    return len({_known(item, keys) for item in items}) == len(items)


def _known(item: Mapping[str, Any], keys: tuple[str, ...]) -> tuple[Hashable, ...]:
    return tuple(item[key] for key in keys)
