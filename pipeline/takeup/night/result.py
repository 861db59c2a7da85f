"""What a night has to say when it ends."""

from __future__ import annotations

from dataclasses import asdict, dataclass, field
from datetime import date
from typing import Any

from takeup.feeds.inbox import Left
from takeup.ledger import grouped
from takeup.model import Accounting, OrderEvent

_LEFT = {
    Left.GROWING: "it is still being written",
    Left.NO_SOURCE: "no source in the settings takes a file of this name",
    Left.TWO_SOURCES: "more than one source in the settings takes a file of this name",
    Left.NOT_A_FILE: "it is not a plain file",
    Left.UNREADABLE: "it cannot be read",
}


@dataclass(frozen=True)
class NightResult:
    """One telling of the whole job.

    Attributes
    ----------
    told : bool
        False where there was nothing new: same `as of`, no new file, same settings.
    number : int
        Of the night; of the last one told where nothing was new.
    as_of : date
    page : str
        The queue's first page; blank after a dry run, whose queue is thrown away.
    head : str
        The ledger's head, SHA-256 in hexadecimal: kept elsewhere, ``takeup verify --head`` checks the site by
        it. Blank after a dry run.
    accounting : tuple of Accounting
        One a file taken.
    open_ended : tuple of str
        Names of files whose last line does not end, as that of a file cut short.
    refused_files : tuple of str
        Names of files that could not be used as a whole.
    events : tuple of OrderEvent
    open_orders, stop_now, kept_out, cannot_judge : int
        What stands; with `refused_files` and `stale_feeds` that of the last night told where nothing was new.
    stale_feeds : tuple of str
    unused : tuple of str
        Overrides for a machine or strand that nothing names, and own templates that nothing asks for.
    left_in_inbox : tuple of (str, str)
        Name of every file that was not taken, and why.
    counters : dict
        What the night touched: rows parsed, surveys derived, pages drawn and linked, charts drawn.
    dry_run : bool
        Told beside the site; the site stands as it was.
    """

    told: bool
    number: int
    as_of: date
    page: str
    head: str = ""
    accounting: tuple[Accounting, ...] = ()
    open_ended: tuple[str, ...] = ()
    refused_files: tuple[str, ...] = ()
    events: tuple[OrderEvent, ...] = ()
    open_orders: int = 0
    stop_now: int = 0
    kept_out: int = 0
    cannot_judge: int = 0
    stale_feeds: tuple[str, ...] = ()
    unused: tuple[str, ...] = ()
    left_in_inbox: tuple[tuple[str, str], ...] = ()
    counters: dict[str, int] = field(default_factory=dict)
    dry_run: bool = False

    @property
    def wants_attention(self) -> bool:
        """Whether rows or files were kept out, or feeds are stale; a file that still grows only waits."""
        unclaimed = any(why != Left.GROWING for _, why in self.left_in_inbox)
        return bool(self.kept_out or self.refused_files or self.stale_feeds or unclaimed)

    def headline(self) -> str:
        """One line."""
        dry = " (dry run: the site stands as it was)" if self.dry_run else ""
        standing = f"{self.stop_now} stop now, {self.kept_out} rows kept out{dry}."
        if not self.told:
            return (
                f"Night {self.number}, as of {self.as_of}: nothing new, nothing changed; "
                f"{self.open_orders} orders open, {standing}"
            )
        changed: dict[str, int] = {}
        for event in self.events:
            changed[event.change.value] = changed.get(event.change.value, 0) + 1
        read = sum(one.read for one in self.accounting)
        said = ", ".join(f"{count} {change}" for change, count in changed.items()) or "none changed"
        return (
            f"Night {self.number}, as of {self.as_of}: {read} rows read, {self.open_orders} orders open "
            f"({said}), {standing}"
        )

    def text(self) -> str:
        """For people."""
        lines = [self.headline()]
        lines += [f"  could not be used: {name}" for name in self.refused_files]
        lines += [
            f"  the last line does not end; if the file was cut, its last cells may be cut too: {name}"
            for name in self.open_ended
        ]
        lines += [f"  stands in settings or templates, and nothing uses it: {name}" for name in self.unused]
        lines += [f"  stays in the inbox: {name} ({_LEFT[Left(why)]})" for name, why in self.left_in_inbox]
        if self.stale_feeds:
            lines.append(f"  silent for longer than usual: {', '.join(self.stale_feeds)}")
        if self.page:
            lines.append(f"The planning queue lies at {self.page}")
        if self.head:
            lines.append(f"The ledger's head begins {grouped(self.head)[:19]}")
        return "\n".join(lines)

    def as_dict(self) -> dict[str, Any]:
        """For ``--json``."""
        record = asdict(self)
        record["as_of"] = self.as_of.isoformat()
        record["events"] = [
            {
                "order": event.order,
                "revision": event.revision,
                "change": event.change.value,
                "before": event.before,
                "after": event.after,
            }
            for event in self.events
        ]
        return record
