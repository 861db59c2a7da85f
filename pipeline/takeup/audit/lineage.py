"""Where an order comes from, in the terms of W3C PROV, for programs that follow lineage.

The structure is that of PROV-JSON: T. D. Huynh, M. O. Jewell, A. S. Keshavarz, D. T. Michaelides, H. Yang,
L. Moreau, The PROV-JSON Serialization, W3C Member Submission, 24 April 2013; the terms are those of PROV-DM,
W3C Recommendation, 30 April 2013. Nothing in it tells of a clock or a host: a night is named by its number
and the day it told.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from typing import Any

from takeup.audit.answers import OrderAnswer
from takeup.model import Change, OrderEvent

Night = Mapping[str, Any]

#: what names begin with; they name things of one site and lead to no address
PREFIXES = {
    "takeup": "urn:takeup:terms:",
    "night": "urn:takeup:night:",
    "file": "urn:takeup:sha256:",
    "row": "urn:takeup:row:",
    "order": "urn:takeup:order:",
    "page": "urn:takeup:page:",
    "agent": "urn:takeup:agent:",
}

#: changes that word the order anew; any other only decides about it
_WORDED = frozenset({Change.RAISED, Change.REVISED, Change.REFRESHED, Change.REOPENED})


def lineage(answer: OrderAnswer, nights: Sequence[Night], site: str) -> dict[str, Any]:
    """The lineage of an order as a PROV-JSON document.

    Parameters
    ----------
    answer : OrderAnswer
    nights : sequence of mapping
        The ledger's records, oldest first, up to the night by which the order is known.
    site : str
        The site's name.

    Returns
    -------
    dict
        ``prefix``, ``entity``, ``activity``, ``agent`` and the relations, each by its identifier.
    """
    drawn = _Lineage(answer, nights, site)
    return drawn.document()


class _Lineage:
    def __init__(self, answer: OrderAnswer, nights: Sequence[Night], site: str) -> None:
        self.answer, self.site = answer, site
        self.nights = {night["number"]: night for night in nights}
        self.parts: defaultdict[str, dict[str, dict[str, Any]]] = defaultdict(dict)
        self._said: set[tuple[str, ...]] = set()

    def document(self) -> dict[str, Any]:
        states = list(self._states())
        for line in self.answer.lines:
            row = self._row(line.file, line.sha256, line.line, line.feed)
            self._derived(states[-1], row, part=line.part)
        for file in [one for one in self.parts["entity"] if one.startswith("file:")]:
            self._taken(file)
        self._pages(states[-1])
        return {
            "prefix": PREFIXES,
            **{kind: dict(sorted(found.items())) for kind, found in self.parts.items()},
        }

    def _states(self) -> Iterable[str]:
        """The order as each change left it, every one a revision of the one before."""
        before = ""
        for event in self.answer.events:
            name = f"order:{event.order}.{len(self._names('order:')) + 1}"
            self.parts["entity"][name] = {
                "prov:label": f"{event.order}, revision {event.revision}",
                "prov:type": _type("takeup:Order"),
                "takeup:number": event.order,
                "takeup:revision": event.revision,
                "takeup:change": event.change.value,
                "takeup:as_of": event.as_of.isoformat(),
            }
            self._relate("wasGeneratedBy", {"prov:entity": name, "prov:activity": self._night(event.night)})
            if before:
                self._derived(name, before, kind="prov:Revision")
            if event.change not in _WORDED:
                self._decided(name, event)
            before = name
            yield name

    def _decided(self, name: str, event: OrderEvent) -> None:
        """What a person decided: the row that says so, and who."""
        for one in self.answer.closeouts:
            if one.outcome != event.change.value or one.recorded_by != event.by:
                continue
            row = self._row(one.file, one.sha256, one.line, "order_closeouts")
            self._derived(name, row)
            if one.recorded_by:
                person = self._agent(one.recorded_by, "prov:Person")
                self._relate("wasAttributedTo", {"prov:entity": row, "prov:agent": person})

    def _row(self, file: str, sha256: str, line: int, feed: str) -> str:
        whole = f"file:{sha256}"
        self.parts["entity"].setdefault(
            whole,
            {
                "prov:label": file,
                "prov:type": _type("takeup:ExportFile"),
                "prov:location": f"archive/{sha256[:2]}/{sha256}",
                "takeup:feed": feed,
                "takeup:sha256": sha256,
            },
        )
        name = f"row:{sha256}.{line}"
        if name not in self.parts["entity"]:
            self.parts["entity"][name] = {
                "prov:label": f"{file} line {line}",
                "prov:type": _type("takeup:ExportRow"),
                "takeup:line": line,
            }
            self._derived(name, whole)
        return name

    def _taken(self, file: str) -> None:
        """The first night that took a file used it."""
        sha256 = file.removeprefix("file:")
        for number, night in sorted(self.nights.items()):
            if any(one["sha256"] == sha256 for one in night["files"]):
                self._used(self._night(number), file)
                return

    def _night(self, number: int) -> str:
        name, night = f"night:{number}", self.nights[number]
        if name in self.parts["activity"]:
            return name
        self.parts["activity"][name] = {
            "prov:label": f"night {number} of {self.site}, as of {night['as_of']}",
            "prov:type": _type("takeup:Night"),
            "takeup:as_of": night["as_of"],
        }
        for kind, sha256 in (("Settings", night["settings"]), ("TableOfPastForecasts", night["fleet"])):
            self.parts["entity"][f"file:{sha256}"] = {
                "prov:type": _type(f"takeup:{kind}"),
                "prov:location": f"archive/{sha256[:2]}/{sha256}",
                "takeup:sha256": sha256,
            }
            self._used(name, f"file:{sha256}")
        for package, version in night["versions"].items():
            software = self._agent(f"{package} {version}", "prov:SoftwareAgent")
            self._relate("wasAssociatedWith", {"prov:activity": name, "prov:agent": software})
        return name

    def _pages(self, state: str) -> None:
        """The order's pages in the queue of the newest night, where it stands there."""
        night = self.nights[max(self.nights)]
        number = self.answer.order.number
        for folder in ("orders", "why", "reminders"):
            path = f"{folder}/{number}.html"
            sha256 = night["wrote"].get(path)
            if sha256 is None:
                continue
            name = f"page:{sha256}"
            self.parts["entity"][name] = {
                "prov:label": path,
                "prov:type": _type("takeup:Page"),
                "prov:location": f"queue/{night['queue']}/{path}",
                "takeup:sha256": sha256,
            }
            self._derived(name, state)
            told = self._night(night["number"])
            self._relate("wasGeneratedBy", {"prov:entity": name, "prov:activity": told})

    def _agent(self, label: str, kind: str) -> str:
        for name, agent in self.parts["agent"].items():
            if agent == {"prov:label": label, "prov:type": _type(kind)}:
                return name
        name = f"agent:{len(self.parts['agent']) + 1}"
        self.parts["agent"][name] = {"prov:label": label, "prov:type": _type(kind)}
        return name

    def _used(self, activity: str, entity: str) -> None:
        self._relate("used", {"prov:activity": activity, "prov:entity": entity})

    def _derived(self, entity: str, source: str, *, kind: str = "", part: str = "") -> None:
        told: dict[str, Any] = {"prov:generatedEntity": entity, "prov:usedEntity": source}
        if kind:
            told["prov:type"] = _type(kind)
        if part:
            told["takeup:part"] = part
        self._relate("wasDerivedFrom", told)

    def _relate(self, relation: str, told: dict[str, Any]) -> None:
        key = (relation, *(str(value) for value in told.values()))
        if key not in self._said:
            self._said.add(key)
            self.parts[relation][f"_:{relation}{len(self.parts[relation]) + 1}"] = told

    def _names(self, prefix: str) -> list[str]:
        return [name for name in self.parts["entity"] if name.startswith(prefix)]


def _type(name: str) -> dict[str, str]:
    """A type that is a name, not a text."""
    return {"$": name, "type": "prov:QUALIFIED_NAME"}
