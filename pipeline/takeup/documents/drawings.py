"""Drawings of charts, kept in the pages that show them.

A chart over run hours stays the same when only the days on its page move, and drawing it is most of what a
page costs. So every page's record says where in the page each drawing stands, under a key of its picture and
the versions that draw; a later page that shows the same picture takes the drawing from there. No folder has
to be kept, trimmed or explained for it: what the newest night shows is what is kept.
"""

from __future__ import annotations

import hashlib
from dataclasses import dataclass, field
from pathlib import Path

from takeup.documents.charts import Picture, drawing
from takeup.documents.keys import content_key


@dataclass(frozen=True)
class Place:
    """Where a drawing stands in its page, in bytes, and the SHA-256 it must have."""

    start: int
    length: int
    sha256: str

    def read(self, page: Path) -> str | None:
        """The drawing; None where the page is gone or holds other bytes there."""
        try:
            with page.open("rb") as file:
                file.seek(self.start)
                content = file.read(self.length)
        except OSError:
            return None
        return content.decode("utf-8") if hashlib.sha256(content).hexdigest() == self.sha256 else None


@dataclass
class Drawings:
    """Where the drawings of tonight's charts come from.

    Attributes
    ----------
    drawn_by : str
        The versions that draw.
    drawn : int
        Drawings made tonight; the others were taken from a page.
    """

    drawn_by: str
    drawn: int = 0
    _known: dict[str, tuple[Path, Place]] = field(default_factory=dict)
    _asked: dict[str, str] = field(default_factory=dict)

    def know(self, page: Path, places: dict[str, Place]) -> None:
        """Take drawings from a page from now on."""
        self._known.update((key, (page, place)) for key, place in places.items())

    def __call__(self, shown: Picture) -> str:
        """The drawing of a picture, from a page that shows the same or made anew."""
        key = content_key(shown, self.drawn_by)
        found = None
        if key in self._known:
            page, place = self._known[key]
            found = place.read(page)
        if found is None:
            found = drawing(shown)
            self.drawn += 1
        self._asked[key] = found
        return found

    def places(self, content: bytes) -> dict[str, Place]:
        """Where the drawings asked for since the last page stand in this one; all that it shows as asked."""
        places = {}
        for key, svg in self._asked.items():
            drawn = svg.encode("utf-8")
            start = content.find(drawn)
            if start >= 0:
                places[key] = Place(start, len(drawn), hashlib.sha256(drawn).hexdigest())
        self._asked.clear()
        return places
