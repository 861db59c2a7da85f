"""Tamper with a small site in every part of it, and see that an audit finds it and names the first bad place.

    python -m tests.audit.tamperings [TAMPERINGS] [SEED]

Every tampering is drawn from a seed and done to a fresh copy of one told site. It says where the first bad
place is, and whether it leaves a site that is whole in itself: those only a head kept elsewhere can tell.
"""

# ruff: noqa: S608 - the names come from the store itself

from __future__ import annotations

import os
import random
import shutil
import subprocess
import sys
import tempfile
import time
from collections import Counter
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import duckdb
from tests.night.told import ONE, told, told_next

from takeup.audit.difference import Part
from takeup.ledger import Ledger, grouped, head_of
from takeup.quarantine import set_aside
from takeup.site import Site
from takeup.store.contents import NIGHT_OF
from takeup.verify import verify

LEDGER, STORE = "ledger/ledger.jsonl", "store/takeup.duckdb"
NIGHTS = 4


@dataclass(frozen=True)
class Plant:
    """The told site, older copies of it by night, and the head that its last page prints."""

    root: Path
    after: dict[int, Path]
    head: str


@dataclass(frozen=True)
class Bad:
    """Where the first bad place is, any of these; ``whole``: the site is whole in itself all the same."""

    part: Part
    where: tuple[str, ...]
    whole: bool = False


def plant(folder: Path) -> Plant:
    """Four nights of one machine, with a person's decision between the second and the third."""
    root = folder / "site"
    site = told(root, 2, ONE)
    after = {2: copy(root, folder / "after-2")}
    file = next(one for one in Ledger(site.folders.ledger).nights()[0]["files"] if "lube" in one["name"])
    set_aside(site, f"{file['sha256']}:4", reason="copied from the day before", by="chain steward")
    for night in range(2, NIGHTS):
        told_next(site, night, ONE)
        after[night + 1] = copy(root, folder / f"after-{night + 1}")
    return Plant(root, after, Ledger(site.folders.ledger).head)


def copy(root: Path, into: Path) -> Path:
    """A copy that keeps files of two names as one."""
    subprocess.run(["cp", "-a", str(root), str(into)], check=True)
    return into


# --- the ledger ------------------------------------------------------------------------------------------


def _lines(root: Path) -> list[bytes]:
    return (root / LEDGER).read_bytes().splitlines(keepends=True)


def _at(*lines: int) -> tuple[str, ...]:
    return tuple(f"{LEDGER} line {line}" for line in lines)


def edited_line(draw: random.Random, root: Path, _: Plant) -> Bad:
    """One byte of one line. In the last line the chain does not show it; only the head does."""
    lines = _lines(root)
    number = draw.randrange(len(lines))
    lines[number] = _blot(draw, lines[number][:-1]) + b"\n"
    (root / LEDGER).write_bytes(b"".join(lines))
    last = (LEDGER,) if number == len(lines) - 1 else ()
    return Bad(Part.LEDGER, (*_at(number + 1, number + 2), *last))


def dropped_line(draw: random.Random, root: Path, _: Plant) -> Bad:
    lines = _lines(root)
    number = draw.randrange(len(lines) - 1)
    del lines[number]
    (root / LEDGER).write_bytes(b"".join(lines))
    return Bad(Part.LEDGER, _at(number + 1))


def swapped_lines(draw: random.Random, root: Path, _: Plant) -> Bad:
    lines = _lines(root)
    one, two = sorted(draw.sample(range(len(lines)), 2))
    lines[one], lines[two] = lines[two], lines[one]
    (root / LEDGER).write_bytes(b"".join(lines))
    return Bad(Part.LEDGER, _at(one + 1))


def torn_line(draw: random.Random, root: Path, _: Plant) -> Bad:
    content = (root / LEDGER).read_bytes()
    last = len(_lines(root)[-1])
    (root / LEDGER).write_bytes(content[: -draw.randrange(1, last)])
    return Bad(Part.LEDGER, (LEDGER,))


def cut_lines(draw: random.Random, root: Path, _: Plant) -> Bad:
    lines = _lines(root)
    (root / LEDGER).write_bytes(b"".join(lines[: draw.randrange(1, len(lines))]))
    return Bad(Part.LEDGER, (LEDGER,))


def lost_ledger(_: random.Random, root: Path, __: Plant) -> Bad:
    (root / LEDGER).unlink()
    return Bad(Part.LEDGER, (LEDGER,))


def older_ledger(draw: random.Random, root: Path, site: Plant) -> Bad:
    night = draw.choice([night for night in site.after if night < NIGHTS])
    shutil.copyfile(site.after[night] / LEDGER, root / LEDGER)
    return Bad(Part.LEDGER, (LEDGER,))


def added_night(_: random.Random, root: Path, __: Plant) -> Bad:
    """A record chained rightly, of a night that was never told."""
    ledger = Ledger(root / LEDGER)
    last = dict(ledger.nights()[-1])
    del last["previous"]
    number = last["number"] + 1
    ledger.append(
        last
        | {
            "number": number,
            "queue": f"night-{number:06d}",
            "previous_as_of": last["as_of"],
            "fleet_before": last["fleet"],
        }
    )
    return Bad(Part.STORE, (STORE,))


def _forged(draw: random.Random, root: Path) -> None:
    """Change a record, and chain it and all that follow anew."""
    records = list(Ledger(root / LEDGER).records())
    record = draw.choice(records)
    if record["kind"] == "decision":
        record["by"] += " and others"
    else:
        draw.choice([_other_account, _other_standing, _other_version])(draw, record)
    (root / LEDGER).unlink()
    for one in records:
        del one["previous"]
        Ledger(root / LEDGER).append(one)


def _other_account(draw: random.Random, record: dict[str, Any]) -> None:
    draw.choice(record["accounting"])["new"] += 1


def _other_standing(_: random.Random, record: dict[str, Any]) -> None:
    record["standing"]["open_orders"] += 1


def _other_version(_: random.Random, record: dict[str, Any]) -> None:
    record["versions"]["tzdata"] += ".1"


def forged_record(draw: random.Random, root: Path, _: Plant) -> Bad:
    """The pages still print the heads of before."""
    _forged(draw, root)
    return Bad(Part.LEDGER, (LEDGER,))


def written_anew(draw: random.Random, root: Path, _: Plant) -> Bad:
    """A forger who knows how takeup writes: the pages print the heads of the new ledger."""
    original = list(Ledger(root / LEDGER).records())
    before = [head_of(record) for record in original]
    _forged(draw, root)
    after = [head_of(record) for record in Ledger(root / LEDGER).records()]
    for old, new, record in zip(before, after, original, strict=True):
        if record["kind"] == "night":
            page = root / "queue" / record["queue"] / "index.html"
            _write(page, page.read_bytes().replace(grouped(old).encode(), grouped(new).encode()))
    return Bad(Part.LEDGER, (LEDGER,), whole=True)


# --- the archive -----------------------------------------------------------------------------------------


def _archived(draw: random.Random, root: Path, count: int = 1) -> list[Path]:
    return draw.sample(sorted(path for path in (root / "archive").rglob("*") if path.is_file()), count)


def _where(root: Path, *paths: Path) -> tuple[str, ...]:
    return tuple(path.relative_to(root).as_posix() for path in paths)


def edited_archive(draw: random.Random, root: Path, _: Plant) -> Bad:
    (path,) = _archived(draw, root)
    path.write_bytes(_blot(draw, path.read_bytes()))
    return Bad(Part.ARCHIVE, _where(root, path))


def cut_archive(draw: random.Random, root: Path, _: Plant) -> Bad:
    (path,) = _archived(draw, root)
    path.write_bytes(path.read_bytes()[: -draw.randrange(1, path.stat().st_size + 1)])
    return Bad(Part.ARCHIVE, _where(root, path))


def lost_archive(draw: random.Random, root: Path, _: Plant) -> Bad:
    (path,) = _archived(draw, root)
    path.unlink()
    return Bad(Part.ARCHIVE, _where(root, path))


def swapped_archive(draw: random.Random, root: Path, _: Plant) -> Bad:
    one, two = _archived(draw, root, 2)
    _swap(one, two)
    return Bad(Part.ARCHIVE, _where(root, one, two))


def added_archive(draw: random.Random, root: Path, _: Plant) -> Bad:
    (path,) = _archived(draw, root)
    new = path.with_name(f"{draw.getrandbits(256):064x}")
    new.write_bytes(path.read_bytes())
    return Bad(Part.ARCHIVE, _where(root, new))


# --- the store -------------------------------------------------------------------------------------------


def _row(draw: random.Random, store: Any, *, tables: Callable[[str], bool]) -> tuple[str, int, int | None]:
    """A table, a row of it, and the night that wrote it."""
    names = [
        name for (name,) in store.execute("SELECT table_name FROM duckdb_tables() ORDER BY 1").fetchall()
    ]
    names = [name for name in names if (name in NIGHT_OF or name.startswith("cache_")) and tables(name)]
    filled = [name for name in names if store.execute(f'SELECT count(*) FROM "{name}"').fetchone()[0]]
    table = draw.choice(filled)
    (rows,) = store.execute(f'SELECT list(rowid ORDER BY rowid) FROM "{table}"').fetchone()
    row = draw.choice(rows)
    if table not in NIGHT_OF:
        return table, row, None
    (night,) = store.execute(f'SELECT "{NIGHT_OF[table]}" FROM "{table}" WHERE rowid = {row}').fetchone()
    return table, row, night


def _table(table: str, night: int | None) -> tuple[str, ...]:
    at = f"{STORE}, table {table}"
    return (at,) if night is None else (f"{at}, night {night}",)


def _columns(store: Any, table: str) -> list[tuple[str, str]]:
    night = NIGHT_OF.get(table, "night")
    return [
        (name, kind) for name, kind, *_ in store.execute(f'DESCRIBE "{table}"').fetchall() if name != night
    ]


def edited_row(draw: random.Random, root: Path, _: Plant) -> Bad:
    with duckdb.connect(str(root / STORE)) as store:
        table, row, night = _row(draw, store, tables=lambda _: True)
        name, kind = draw.choice(_columns(store, table))
        (old,) = store.execute(f'SELECT "{name}" FROM "{table}" WHERE rowid = {row}').fetchone()
        store.execute(f'UPDATE "{table}" SET "{name}" = ? WHERE rowid = {row}', [_other(draw, old, kind)])
    return Bad(Part.STORE, _table(table, night))


def _other(draw: random.Random, old: Any, kind: str) -> Any:
    """Another value of the same kind, often a near one."""
    if kind.endswith("[]"):
        return [*(old or []), 7]
    if kind == "BOOLEAN":
        return not old
    if kind == "VARCHAR":
        return draw.choice(["", f"{old} ", f"{old}0"]) if old else "x"
    if kind == "DOUBLE":
        return None if old is not None and draw.random() < 0.2 else (old or 0.0) + draw.choice([1e-9, -1.0])
    if kind == "DATE":
        return "2026-01-01" if str(old) != "2026-01-01" else "2026-01-02"
    return (old or 0) + 1


def deleted_row(draw: random.Random, root: Path, _: Plant) -> Bad:
    with duckdb.connect(str(root / STORE)) as store:
        table, row, night = _row(draw, store, tables=lambda name: name != "night")
        store.execute(f'DELETE FROM "{table}" WHERE rowid = {row}')
    return Bad(Part.STORE, _table(table, night))


def doubled_row(draw: random.Random, root: Path, _: Plant) -> Bad:
    with duckdb.connect(str(root / STORE)) as store:
        table, row, night = _row(draw, store, tables=lambda _: True)
        store.execute(f'INSERT INTO "{table}" SELECT * FROM "{table}" WHERE rowid = {row}')
    return Bad(Part.STORE, _table(table, night))


def moved_row(draw: random.Random, root: Path, _: Plant) -> Bad:
    """A row said to be of another night."""
    with duckdb.connect(str(root / STORE)) as store:
        table, row, night = _row(draw, store, tables=lambda name: name in NIGHT_OF and name != "night")
        other = draw.choice([number for number in range(1, NIGHTS + 1) if number != night])
        store.execute(f'UPDATE "{table}" SET "{NIGHT_OF[table]}" = {other} WHERE rowid = {row}')
    return Bad(Part.STORE, _table(table, min(other, night or other)))


def swapped_cells(draw: random.Random, root: Path, _: Plant) -> Bad:
    """Two rows that differ elsewhere too exchange what they hold in one column.

    Rows that differ there alone would only change places, and the table would say what it said.
    """
    with duckdb.connect(str(root / STORE)) as store:
        while True:
            table, row, night = _row(draw, store, tables=lambda _: True)
            names = [name for name, _ in _columns(store, table)]
            name = draw.choice(names)
            others = [f'a."{other}" IS DISTINCT FROM b."{other}"' for other in names if other != name]
            here = "" if night is None else f'AND b."{NIGHT_OF[table]}" = {night}'
            found = store.execute(
                f'SELECT b.rowid FROM "{table}" a JOIN "{table}" b ON a.rowid = {row} AND '
                f'a."{name}" IS DISTINCT FROM b."{name}" AND ({" OR ".join(others) or "FALSE"}) {here} '
                "ORDER BY 1"
            ).fetchall()
            if found:
                break
        (two,) = draw.choice(found)
        store.execute(
            f'UPDATE "{table}" SET "{name}" = CASE rowid '
            f'WHEN {row} THEN (SELECT "{name}" FROM "{table}" WHERE rowid = {two}) '
            f'ELSE (SELECT "{name}" FROM "{table}" WHERE rowid = {row}) END WHERE rowid IN ({row}, {two})'
        )
    return Bad(Part.STORE, _table(table, night))


def older_store(draw: random.Random, root: Path, site: Plant) -> Bad:
    night = draw.choice([night for night in site.after if night < NIGHTS])
    shutil.copyfile(site.after[night] / STORE, root / STORE)
    return Bad(Part.STORE, (STORE,))


def cut_store(draw: random.Random, root: Path, _: Plant) -> Bad:
    size = (root / STORE).stat().st_size
    os.truncate(root / STORE, draw.randrange(size - 1))
    return Bad(Part.STORE, (STORE,))


def lost_store(_: random.Random, root: Path, __: Plant) -> Bad:
    (root / STORE).unlink()
    return Bad(Part.STORE, (STORE,))


# --- the queue -------------------------------------------------------------------------------------------


def _published(draw: random.Random, root: Path, count: int = 1) -> list[Path]:
    """Files of one night's folder."""
    folder = draw.choice(sorted((root / "queue").glob("night-*")))
    return draw.sample(sorted(path for path in folder.rglob("*") if path.is_file()), count)


def _first_name(root: Path, path: Path) -> Path:
    """The oldest night's name of a file that several nights share."""
    its = path.stat().st_ino
    return min(each for each in (root / "queue").glob("night-*/**/*") if each.stat().st_ino == its)


def _write(path: Path, content: bytes) -> None:
    """A new file in its place; other nights keep the old one."""
    path.unlink()
    path.write_bytes(content)


def edited_page(draw: random.Random, root: Path, _: Plant) -> Bad:
    """In its place: every night that shares the file is changed."""
    (path,) = _published(draw, root)
    first = _first_name(root, path)
    path.chmod(0o644)
    path.write_bytes(_blot(draw, path.read_bytes()))
    return Bad(Part.QUEUE, _where(root, first))


def replaced_page(draw: random.Random, root: Path, _: Plant) -> Bad:
    (path,) = _published(draw, root)
    _write(path, _blot(draw, path.read_bytes()))
    return Bad(Part.QUEUE, _where(root, path))


def cut_page(draw: random.Random, root: Path, _: Plant) -> Bad:
    (path,) = _published(draw, root)
    content = path.read_bytes()
    _write(path, content[: -draw.randrange(1, len(content) + 1)])
    return Bad(Part.QUEUE, _where(root, path))


def lost_page(draw: random.Random, root: Path, _: Plant) -> Bad:
    (path,) = _published(draw, root)
    path.unlink()
    return Bad(Part.QUEUE, _where(root, path))


def swapped_pages(draw: random.Random, root: Path, _: Plant) -> Bad:
    one, two = _published(draw, root, 2)
    first, second = one.read_bytes(), two.read_bytes()
    _write(one, second)
    _write(two, first)
    return Bad(Part.QUEUE, (min(_where(root, one, two)),))


def older_page(draw: random.Random, root: Path, _: Plant) -> Bad:
    """A page that a night did publish, in the folder of another."""
    while True:
        (path,) = _published(draw, root)
        inside = path.relative_to(root / "queue")
        others = [
            each / Path(*inside.parts[1:])
            for each in sorted((root / "queue").glob("night-*"))
            if each.name != inside.parts[0]
        ]
        unlike = [each for each in others if each.is_file() and each.read_bytes() != path.read_bytes()]
        if unlike:
            break
    _write(path, draw.choice(unlike).read_bytes())
    return Bad(Part.QUEUE, _where(root, path))


def added_page(draw: random.Random, root: Path, _: Plant) -> Bad:
    (path,) = _published(draw, root)
    new = path.with_name(draw.choice(["C-9999.html", "more.csv", ".hidden"]))
    new.write_bytes(path.read_bytes())
    return Bad(Part.QUEUE, _where(root, new))


def added_to_queue(draw: random.Random, root: Path, _: Plant) -> Bad:
    new = root / "queue" / draw.choice(["night-000009", "urgent", "stop.html"])
    if new.suffix:
        new.write_text("Stop everything.")
    else:
        shutil.copytree(root / "queue" / "night-000001", new)
    return Bad(Part.QUEUE, _where(root, new))


def lost_night(draw: random.Random, root: Path, _: Plant) -> Bad:
    """Any but the oldest, which a site may clear away."""
    night = root / "queue" / f"night-{draw.randrange(2, NIGHTS + 1):06d}"
    shutil.rmtree(night)
    return Bad(Part.QUEUE, _where(root, night))


def older_current(draw: random.Random, root: Path, _: Plant) -> Bad:
    current = root / "queue" / "current"
    current.unlink()
    night = f"night-{draw.randrange(1, NIGHTS):06d}"
    how = draw.randrange(3)
    if how == 0:
        current.symlink_to(night)
    elif how == 1:
        shutil.copytree(root / "queue" / night, current)
    return Bad(Part.QUEUE, ("queue/current",))


# --- everything --------------------------------------------------------------------------------------------


def older_site(draw: random.Random, root: Path, site: Plant) -> Bad:
    """Everything as it was after an earlier night."""
    shutil.rmtree(root)
    copy(site.after[draw.choice([night for night in site.after if night < NIGHTS])], root)
    return Bad(Part.LEDGER, (LEDGER,), whole=True)


TAMPERINGS: tuple[Callable[[random.Random, Path, Plant], Bad], ...] = (
    edited_line, dropped_line, swapped_lines, torn_line, cut_lines, lost_ledger, older_ledger, added_night,
    forged_record, written_anew,
    edited_archive, cut_archive, lost_archive, swapped_archive, added_archive,
    edited_row, deleted_row, doubled_row, moved_row, swapped_cells, older_store, cut_store, lost_store,
    edited_page, replaced_page, cut_page, lost_page, swapped_pages, older_page, added_page, added_to_queue,
    lost_night, older_current,
    older_site,
)  # fmt: skip


def _blot(draw: random.Random, content: bytes) -> bytes:
    """One byte changed to another that can be printed."""
    place = draw.randrange(len(content)) if content else 0
    new = draw.choice([byte for byte in range(32, 127) if content[place : place + 1] != bytes([byte])])
    return content[:place] + bytes([new]) + content[place + 1 :]


def _swap(one: Path, two: Path) -> None:
    first, second = one.read_bytes(), two.read_bytes()
    one.write_bytes(second)
    two.write_bytes(first)


@dataclass(frozen=True)
class Outcome:
    """How many tamperings were done, found and named, and which not as they should be."""

    done: int
    found: int
    named: int
    whole: int
    wrong: tuple[str, ...]
    seconds: float
    kinds: Counter[str]


def run(count: int, folder: Path, *, seed: int = 20260909) -> Outcome:
    """Do tamperings, each kind in turn, to copies of one site."""
    site = plant(folder)
    sound = verify(Site.open(site.root), head=site.head)
    if not sound.sound:
        raise RuntimeError(f"the untouched site is not sound: {sound.text()}")
    root = folder / "tampered"
    wrong: list[str] = []
    kinds: Counter[str] = Counter()
    found = named = whole = 0
    seconds = 0.0
    for number in range(count):
        shutil.rmtree(root, ignore_errors=True)
        copy(site.root, root)
        tampering = TAMPERINGS[number % len(TAMPERINGS)]
        draw = random.Random(f"{seed} {number}")
        bad = tampering(draw, root, site)
        says = f"{number}: {tampering.__name__}"
        kinds[tampering.__name__] += 1
        begun = time.process_time()
        told = verify(Site.open(root), head=site.head).audit.differences
        seconds += time.process_time() - begun
        found += bool(told)
        if told and told[0].part is bad.part and told[0].where in bad.where:
            named += 1
        else:
            at = f"{told[0].code} at {told[0].where}" if told else "nothing"
            wrong.append(f"{says}: {at}, and not at {' or '.join(bad.where)}")
        escapes = all(one.code == "head_unknown" for one in told)
        if escapes or bad.whole:  # a head adds that one difference and takes none away
            escapes = verify(Site.open(root)).sound
        whole += escapes
        if bad.whole != escapes:
            wrong.append(f"{says}: without a head {'not found' if escapes else 'found'}")
    return Outcome(count, found, named, whole, tuple(wrong), seconds / count, kinds)


def main(count: int, seed: int) -> int:
    """Run, and say what came of it."""
    with tempfile.TemporaryDirectory(prefix="takeup-tamperings-") as scratch:
        outcome = run(count, Path(scratch), seed=seed)
    print(
        f"{outcome.done} tamperings of {len(outcome.kinds)} kinds; "
        f"with the head at hand {outcome.found} found, {outcome.named} with their first place; "
        f"without it {outcome.whole} not found; {outcome.seconds:.2f} processor seconds each"
    )
    print("\n".join(outcome.wrong))
    return 1 if outcome.wrong else 0


if __name__ == "__main__":
    given = [int(word) for word in sys.argv[1:]]
    raise SystemExit(main(given[0] if given else 1000, given[1] if len(given) > 1 else 20260909))
