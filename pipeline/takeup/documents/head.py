"""The ledger's head on the page of the night that it closes.

A night's record holds the hash of every file that the night wrote, and the head is the hash of that record:
no page can hold the hash of a record that holds the page's own. So the record holds the hash of the page with
a mark in place of the head, and the head takes the mark's place before the page goes to the disk.
"""

from __future__ import annotations

import hashlib

from takeup.ledger import grouped

#: The one page that bears the head.
PAGE = "index.html"
#: What stands in its place while the record is made.
MARK = "{ledger-head}"


def with_head(page: bytes, head: str) -> bytes:
    """The page with the head wherever its mark stands."""
    return page.replace(MARK.encode(), grouped(head).encode())


def recorded_sha256(path: str, content: bytes, head: str) -> str:
    """The hash by which a night's record knows a file of its folder.

    Parameters
    ----------
    path : str
        From the night's folder.
    content : bytes
        As it lies on the disk.
    head : str
        Of the ledger behind that night.

    Returns
    -------
    str
        SHA-256, of the page that bears the head with the mark in its place. A page on which the mark itself
        still stands is none that was published.
    """
    if path == PAGE and MARK.encode() not in content:
        content = content.replace(grouped(head).encode(), MARK.encode())
    return hashlib.sha256(content).hexdigest()
