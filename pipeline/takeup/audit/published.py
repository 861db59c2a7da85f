"""The queue checked: every folder that is kept holds what its night wrote, ``current`` points at the last."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from takeup.audit.difference import Difference, Part


@dataclass(frozen=True)
class Queue:
    """A queue as it lies there.

    Attributes
    ----------
    folders : mapping
        Name of a night's folder to the path of each file in it to the hash by which a record knows it.
    current : str or None
        Where ``current`` points; None where it is no link.
    others : sequence of str
        Whatever else stands in the queue.
    """

    folders: Mapping[str, Mapping[str, str]]
    current: str | None
    others: Sequence[str] = ()


def queue_differences(nights: Sequence[Mapping[str, Any]], queue: Queue) -> Iterator[Difference]:
    """Compare the queue with what the nights wrote, by night.

    A site may clear away the folders of its oldest nights; one that is missing between others, or the last,
    is a difference.
    """
    names = [night["queue"] for night in nights]
    for night in nights[_cleared(nights, queue) :]:
        yield from _folder(night, queue.folders.get(night["queue"]))
    if names and queue.current != names[-1]:
        facts = {"found": queue.current or "", "wanted": names[-1]}
        yield Difference("queue_current", Part.QUEUE, "queue/current", nights[-1]["number"], facts)
    for name in sorted({*queue.others, *(queue.folders.keys() - set(names))}):
        yield Difference("queue_unknown", Part.QUEUE, f"queue/{name}")


def not_kept(nights: Sequence[Mapping[str, Any]], queue: Queue) -> Iterator[Difference]:
    """The oldest nights whose folders are no longer kept."""
    cleared = _cleared(nights, queue)
    if cleared:
        facts = {"last": nights[cleared - 1]["number"]}
        yield Difference("queue_not_kept", Part.QUEUE, "queue", None, facts)


def _cleared(nights: Sequence[Mapping[str, Any]], queue: Queue) -> int:
    """How many of the oldest nights have no folder any more; the last one's is always wanted."""
    kept = (place for place, night in enumerate(nights) if night["queue"] in queue.folders)
    return next(kept, max(len(nights) - 1, 0))


def _folder(night: Mapping[str, Any], found: Mapping[str, str] | None) -> Iterator[Difference]:
    number, name, wrote = night["number"], night["queue"], night["wrote"]
    if found is None:
        yield Difference("queue_night_gone", Part.QUEUE, f"queue/{name}", number, {"night": number})
        return
    for path in sorted(found.keys() | wrote.keys()):
        where = f"queue/{name}/{path}"
        if path not in wrote:
            yield Difference("queue_unknown", Part.QUEUE, where, number)
        elif path not in found:
            yield Difference("queue_file_gone", Part.QUEUE, where, number, {"night": number})
        elif found[path] != wrote[path]:
            yield Difference("queue_file_changed", Part.QUEUE, where, number, {"night": number})
