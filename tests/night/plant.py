"""A small plant for the tests of the night: the sample exports of a few machines, in a site of its own."""

from __future__ import annotations

import csv
import gzip
import io
from datetime import date
from pathlib import Path

from takeup.resources import samples_dir
from takeup.site import Site

NIGHTS = tuple(
    date.fromisoformat(folder.name) for folder in sorted((samples_dir() / "plant" / "nights").iterdir())
)
MACHINES = ("EL-11", "FE-32", "SL-61")


def site(root: Path, *, settings: str = "") -> Site:
    """An empty site with the sample plant's settings, and more of them."""
    root.mkdir(parents=True, exist_ok=True)
    text = (samples_dir() / "plant" / "takeup.toml").read_text(encoding="utf-8")
    (root / "takeup.toml").write_text(text + settings, encoding="utf-8")
    return Site.open(root)


def exports(night: date, machines: tuple[str, ...] = MACHINES) -> dict[str, bytes]:
    """The exports of one night by file name, with the rows of these machines only; no machines: all rows."""
    found = {}
    for path in sorted((samples_dir() / "plant" / "nights" / night.isoformat()).iterdir()):
        content = path.read_bytes()
        if path.suffix == ".gz":
            content = gzip.decompress(content)
        name = path.name.removesuffix(".gz")
        kept = _of_machines(content.decode("utf-8"), machines) if machines else content.decode("utf-8")
        if kept.count("\n") > 1:
            found[name] = kept.encode("utf-8")
    return found


def deliver(site: Site, files: dict[str, bytes]) -> None:
    """Put exports into the inbox."""
    for name, content in files.items():
        (site.inbox / name).write_bytes(content)


def told_files(folder: Path) -> dict[str, bytes]:
    """Every file under a folder by relative path; the log of a site tells of wall clocks and is left out."""
    return {
        path.relative_to(folder).as_posix(): path.read_bytes()
        for path in sorted(folder.rglob("*"))
        if path.is_file() and path.relative_to(folder).parts[0] != "log"
    }


def _of_machines(text: str, machines: tuple[str, ...]) -> str:
    delimiter = ";" if text.split("\n", 1)[0].count(";") > 2 else ","
    rows = list(csv.reader(io.StringIO(text, newline=""), delimiter=delimiter))
    header = rows[0]
    who = next((header.index(name) for name in ("strand", "Kette", "machine") if name in header), None)
    if "machine" in header and "strand" in header and "seen_at" in header:
        keys = [header.index("machine"), header.index("strand")]
    else:
        keys = [] if who is None else [who]
    kept = [row for row in rows[1:] if not keys or any(row[key].startswith(machines) for key in keys)]
    out = io.StringIO(newline="")
    csv.writer(out, delimiter=delimiter, lineterminator="\r\n").writerows([header, *kept])
    return out.getvalue()


def rows_of(content: bytes) -> list[dict[str, str]]:
    """The rows of a plain export."""
    return list(csv.DictReader(io.StringIO(content.decode("utf-8"), newline="")))


def csv_of(rows: list[dict[str, str]]) -> bytes:
    """Rows as a plain export; a column that only some have is blank in the others."""
    out = io.StringIO(newline="")
    names = list(dict.fromkeys(name for row in rows for name in row))
    writer = csv.DictWriter(out, names, restval="", lineterminator="\r\n")
    writer.writeheader()
    writer.writerows(rows)
    return out.getvalue().encode("utf-8")
