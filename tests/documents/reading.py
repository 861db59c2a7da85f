"""A page as a reader meets it: its text, links, ids and lists; and whether its elements close."""

from __future__ import annotations

import re
from dataclasses import dataclass, field
from html.parser import HTMLParser

VOID = {"meta", "br", "link", "img", "hr", "input"}


@dataclass
class Page:
    """What was found in one page."""

    text: str = ""
    links: list[str] = field(default_factory=list)
    ids: list[str] = field(default_factory=list)
    lists: dict[str, list[str]] = field(default_factory=dict)
    open_left: list[str] = field(default_factory=list)
    tags: set[str] = field(default_factory=set)

    def section(self, start: str, end: str) -> str:
        """The text between two phrases."""
        return self.text.split(start, 1)[1].split(end, 1)[0]


class _Reader(HTMLParser):
    def __init__(self) -> None:
        super().__init__(convert_charrefs=True)
        self.page = Page()
        self.open: list[str] = []
        self.list_ids: list[str] = []
        self.parts: list[str] = []

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        values = dict(attrs)
        self.page.tags.add(tag)
        if "id" in values:
            self.page.ids.append(values["id"] or "")
        self.page.links += [str(values[name]) for name in ("href", "src") if name in values and tag != "use"]
        if tag not in VOID:
            self.open.append(tag)
        if tag in ("ol", "ul"):
            self.list_ids.append(values.get("id") or "")
            self.page.lists.setdefault(self.list_ids[-1], [])
        if tag == "li" and self.list_ids:
            self.page.lists[self.list_ids[-1]].append("")
        if tag in ("p", "li", "td", "th", "h1", "h2", "h3", "dt", "dd", "br", "tr"):
            self.parts.append(" ")

    def handle_startendtag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.handle_starttag(tag, attrs)
        if tag not in VOID:
            self.open.pop()

    def handle_endtag(self, tag: str) -> None:
        if not self.open or self.open[-1] != tag:
            raise AssertionError(f"</{tag}> closes {self.open[-3:]} at {self.getpos()}")
        self.open.pop()
        if tag in ("ol", "ul"):
            self.list_ids.pop()

    def handle_data(self, data: str) -> None:
        if "style" in self.open or "script" in self.open:
            return
        self.parts.append(data)
        if "li" in self.open and self.list_ids:
            self.page.lists[self.list_ids[-1]][-1] += data


def read(html: str) -> Page:
    """The page, read to its end; an element left open or crossed is an error."""
    reader = _Reader()
    reader.feed(html)
    reader.close()
    page = reader.page
    page.open_left = reader.open
    page.text = re.sub(r"\s+", " ", "".join(reader.parts)).strip()
    page.lists = {
        name: [re.sub(r"\s+", " ", item).strip() for item in items] for name, items in page.lists.items()
    }
    return page
