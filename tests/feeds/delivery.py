"""A small invented plant's exports, and a site that takes them night by night."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from datetime import date, timedelta
from pathlib import Path

from takeup import feeds
from takeup.feeds import SourceDialect, default_sources
from takeup.model import Accounting
from takeup.store import Store

ZONE = "Europe/Lisbon"
AS_OF = date(2026, 3, 3)

EXPORTS = {
    "machines.csv": """\
machine,name,kind,area,abrasive_note
EL-1,"Elevator, raw meal",bucket_elevator,North,
DC-2,Drag conveyor,drag_conveyor,South,wet in winter
""",
    "energy_sources.csv": """\
machine,source,kind,magnitude,isolation_point,isolated_how,released_how,verified_how,procedure_number
EL-1,main drive motor,electrical,"690 V, 55 kW",MCC 3 cubicle 7,switch and padlock,,try start,LP-014
EL-1,loaded buckets,gravity,12 t,,,block the wheel,look,LP-014
""",
    "strands.csv": """\
strand,fitted_on,removed_on,machine,set,construction,pitch_mm,pitches,teeth_drive,steel
EL-1 A,2024-01-15,,EL-1,EL-1,bushed_rollerless,152.4,240,12,carbon
EL-1 B,2024-01-15,,EL-1,EL-1,bushed_rollerless,152.4,240,12,carbon
DC-2,2025-06-01,,DC-2,,welded_drag,203.2,180,8,carbon
""",
    "run_hours.csv": """\
machine,read_at,meter_hours,meter_event
EL-1,2026-02-23T06:00,14800.5,none
EL-1,2026-03-02T06:00,14920.25,none
DC-2,2026-03-02T06:00,9100,
""",
    "elongation_readings.csv": """\
strand,measured_at,mark,occasion,pitches,length_mm,chain_temperature_c,tape_temperature_c,measured_by
EL-1 A,2026-03-02,1,routine,20,3098.5,25,25,inspector 4
EL-1 A,2026-03-02,2,routine,20,3099,25,25,inspector 4
EL-1 B,2026-03-02,1,routine,20,3097.5,25,25,inspector 4
""",
    "takeup_readings.csv": """\
strand,measured_at,used_left_mm,used_right_mm,pitches_removed,lag_mm
EL-1 A,2026-03-02,210,212,0,
EL-1 B,2026-03-02,209.5,211,,1.5
""",
    "lube_records.csv": """\
strand,done_at,lubricant,quantity_ml,method
DC-2,2026-02-28,EP oil 220,250,brush
""",
    "inspection_findings.csv": """\
machine,strand,seen_at,finding,place,severity,remark
EL-1,EL-1 A,2026-03-02T07:30,side rub,head,soon,"=HYPERLINK(""x"") seen at the head
and at the boot"
,DC-2,2026-03-02T08:00,nothing found,,note,
""",
    "sprocket_checks.csv": """\
machine,sprocket,checked_at,shaft,teeth,gauge_depth_mm,reversed
EL-1,head A,2026-02-16,drive,12,2.5,no
""",
    "shutdowns.csv": """\
shutdown,machines,starts_at,ends_at
spring stop,"EL-1, DC-2",2026-04-13T06:00,2026-04-17T18:00
""",
    "order_closeouts.csv": """\
order,recorded_at,outcome,until,reason,done_on,hours_used
C-0001,2026-03-01,accepted,,,,
C-0002,2026-03-01T10:00,done,,,2026-02-28,6.5
""",
}


class Site:
    """An inbox, an archive and a store; every delivery is one night."""

    def __init__(
        self,
        folder: Path,
        sources: Sequence[SourceDialect] = default_sources(),
        *,
        zone: str = ZONE,
        on_disk: bool = False,
    ) -> None:
        self.inbox = folder / "inbox"
        self.archive = folder / "archive"
        self.inbox.mkdir(parents=True)
        self.sources = tuple(sources)
        self.zone = zone
        self.store = Store.open(folder / "store.duckdb" if on_disk else None)
        self.number = 0

    def deliver(self, files: Mapping[str, str | bytes], as_of: date = AS_OF) -> list[Accounting]:
        """Put files into the inbox and take them on the next night."""
        for name, content in files.items():
            data = content if isinstance(content, bytes) else content.encode()
            (self.inbox / name).write_bytes(data)
        found = feeds.find(self.inbox, self.sources)
        taken, left = feeds.archive(found, self.archive)
        assert not left
        assert not [item for item in found if item.left], found
        self.number += 1
        with self.store.night(self.number, as_of) as night:
            accounting = feeds.take(night, taken, self.sources, site_zone=self.zone)
        assert feeds.release(taken) == []
        return accounting

    def rows(self, feed: str, as_of: date = AS_OF, **more):
        """The rows that hold."""
        return self.store.rows(feed, as_of=as_of, **more)

    def reasons(self) -> list[tuple[str, int, str]]:
        """Reason, line and column of every row kept out."""
        return [(row.reason, row.line, row.column) for row in self.store.kept_out()]


def later(days: int) -> date:
    """A day after the usual one."""
    return AS_OF + timedelta(days=days)
