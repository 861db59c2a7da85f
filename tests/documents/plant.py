"""An invented plant's night, as sheets: every kind of job, with the awkward cases a real night brings."""

from __future__ import annotations

from dataclasses import replace
from datetime import date
from pathlib import Path

from takeup.audit.answers import Answered, CloseOut, ExportLine, OrderAnswer, StrandAnswer
from takeup.audit.gates import Gate
from takeup.audit.left_out import EndedRow, LeftOut, UnfitSurvey
from takeup.documents.evidence import Event, LifeLine, MarkLine, StrandEvidence, SurveyLine
from takeup.documents.sheets import (
    CalibrationCell,
    CalibrationRecord,
    ChangeLine,
    ClosedKey,
    Duration,
    EnergySource,
    EvidenceLine,
    Forecast,
    GaugedLimit,
    LimitLine,
    MachineSheet,
    NightSheet,
    OrderSheet,
    OtherOrder,
    OverrideLine,
    RefusedFile,
    ReminderSheet,
    StaleFeed,
    StrandSeries,
    SurveyPoint,
)
from takeup.judgement.sprockets import SprocketLine
from takeup.model import (
    Accounting,
    Answer,
    Change,
    Evidence,
    Fact,
    Job,
    KeptOut,
    Order,
    OrderEvent,
    OrderState,
    Reason,
    Urgency,
    Verdict,
)
from takeup.orders.candidates import PARTS

TEMPLATES = Path(__file__).resolve().parents[2] / "templates"
AS_OF = date(2026, 3, 2)
SHA = "5f0c6f3d9a4be1c07a2b8d6e4f1930a7c8d5e2b1f4a69708c3d2e1f0a9b8c7d6"


def head(files: dict[str, str]) -> str:
    """A ledger's head, whatever a night wrote."""
    return SHA if files else ""


ELEVATOR = MachineSheet(
    "BE-31",
    "Meal elevator 3",
    "bucket_elevator",
    "Raw mill",
    ("abrasive", "dusty", "confined_space"),
    ("DC-12",),
)
DRAG = MachineSheet("DC-12", "Ash drag 12", "drag_conveyor", "Boiler house", ("abrasive", "hot", "wet"))
FEEDER = MachineSheet("AF-02", "Quarry feeder 2", "apron_feeder", "Crusher", ("abrasive",))
DRIVE = MachineSheet("HD-07", "Kiln drive 7", "heavy_drive", "Kiln", ("combustible_dust",))

SOURCES = (
    EnergySource(
        "main drive motor",
        "electrical",
        "690 V, 55 kW",
        "MCC 4, cubicle 12",
        "load-break switch off, padlock",
        "earth and discharge by a licensed electrician",
        "start at the local panel, no motion",
        "LP-BE-31 rev. 4",
        file="energy_sources.csv",
        line=14,
    ),
    EnergySource(
        "loaded leg",
        "gravity",
        "about 3 t of loaded buckets",
        "head shaft, both runs",
        "chain clamps to casing beams",
        "run empty first; clamp both runs",
        "clamps loaded by barring, no creep",
        "LP-BE-31 rev. 4",
        file="energy_sources.csv",
        line=15,
    ),
    EnergySource(
        "feeder above",
        "material",
        "raw meal, up to 40 t/h",
        "slide gate SG-31",
        "gate shut and locked",
        "chute emptied",
        "",
        "LP-BE-31 rev. 4",
        still_exported=False,
        file="energy_sources.csv",
        line=16,
    ),
)
WHOLE = tuple(
    replace(
        source, verified_how=source.verified_how or "gate position seen, chute empty", still_exported=True
    )
    for source in SOURCES
)


def series() -> StrandSeries:
    """The handbook's example strand: five surveys, the case governs."""
    points = [
        (date(2025, 1, 20), 41.0, 0.048, False, "", 0.061),
        (date(2025, 4, 7), 1200.0, 0.410, True, "", 0.455),
        (date(2025, 7, 7), 2650.0, 0.830, True, "", 0.902),
        (date(2025, 11, 3), 4100.0, 1.220, True, "marks_left_out", 1.301),
        (date(2026, 3, 2), 5500.0, 1.552, True, "", 1.604),
    ]
    return StrandSeries(
        strand="BE-31-A",
        set="BE-31",
        side="A",
        pitch_mm=152.4,
        pitches=240.0,
        fitted_on=date(2025, 1, 17),
        hours_now=5500.0,
        hours_as_of=date(2026, 3, 2),
        plan_percent=1.477,
        surveys=tuple(
            SurveyPoint(on, hours, e, 0.112, longest, 4, "as_left", note, counted)
            for on, hours, e, counted, note, longest in points
        ),
        limits=(
            LimitLine(
                "case", 1.969, True, False, "the register: case 1.5 mm certified; pin share 0.5 is a default"
            ),
            LimitLine("takeup", 2.536, origin="take-up reading of 2026-03-02, line 88"),
            LimitLine("bushing", 2.625, is_default=True, origin="default, common practice, no source"),
            LimitLine("conveyor", 2.895, is_default=True, origin="default, common practice, no source"),
            LimitLine("pin", 3.810, is_default=True, origin="default, common practice, no source"),
            LimitLine("chrome", None, missing=("chrome_mm",)),
        ),
        gauged=(
            GaugedLimit("sidebar", "%", 12.5, 25.0, 15.0, date(2026, 3, 1)),
            GaugedLimit("clearance", "mm", None, 15.0),
        ),
        forecast=Forecast(
            "case",
            1.969,
            0.267,
            "own",
            5500.0,
            1.552,
            1012.0,
            1569.0,
            2391.0,
            date(2026, 4, 20),
            date(2026, 6, 3),
            date(2026, 7, 22),
            basis="fleet",
            fleet_number=7,
            fleet_forecasts=9,
            fleet_lent=203,
            fleet_lives=48,
            factor_low=0.70,
            factor_high=1.62,
        ),
        next_survey_on=date(2026, 3, 17),
        next_survey_hours=5753.0,
        interval_hours=253.0,
    )


PRACTICE = "default, common practice, no source"

#: by the register and the checks: one worn, one on its second face, one never gauged, one nobody recorded
SPROCKETS = (
    SprocketLine(
        "head A", "drive", ("BE-31-A",), "worn_reversible", 12, 5.4, 4.4, PRACTICE, date(2026, 2, 26),
        date(2021, 5, 3), False, 2, True,
    ),
    SprocketLine(
        "head B", "drive", ("BE-31-B",), "sound_reversed", 12, 2.1, 4.4, PRACTICE, date(2026, 2, 26),
        date(2025, 1, 17), True, 1,
    ),
    SprocketLine("boot A", "tail", ("BE-31-A",), "not_gauged", 12, None, 4.4, PRACTICE),
    SprocketLine("", "tail", ("BE-31-B",), "not_recorded", 12),
)  # fmt: skip


def unmeasured() -> StrandSeries:
    """The strand beside it, whose next survey was due in December."""
    return replace(
        series(),
        strand="BE-31-B",
        surveys=series().surveys[:-1],
        next_survey_on=date(2025, 12, 9),
        next_survey_hours=4700.0,
        interval_hours=600.0,
        unmeasured="interval",
    )


COMING = (
    Fact("survey_on", date(2026, 3, 2), "day", "the survey"),
    Fact("e_percent", 1.552, "%", "the survey"),
    Fact("uncertainty_percent", 0.112, "%", "the survey"),
    Fact("zero", "as_fitted", "word", "the survey"),
    Fact("from_mark", "mean", "word", "the survey"),
    Fact("limit", "case", "word", "the register"),
    Fact("limit_percent", 1.969, "%", "reckoned by takeup"),
    Fact("plan_percent", 1.477, "%", "default, proposed for takeup, no source", is_default=True),
    Fact("rate", 0.267, "%/1000 h", "reckoned by takeup"),
    Fact("rate_source", "own", "word", "reckoned by takeup"),
    Fact("reckoned_on", date(2026, 3, 2), "day", "reckoned by takeup"),
    Fact("hours_early", 1012.0, "h", "reckoned by takeup"),
    Fact("hours_middle", 1569.0, "h", "reckoned by takeup"),
    Fact("early_on", date(2026, 4, 20), "day", "reckoned by takeup"),
    Fact("middle_on", date(2026, 6, 3), "day", "reckoned by takeup"),
    Fact("late_on", date(2026, 7, 22), "day", "reckoned by takeup"),
    Fact("bounds_basis", "fleet", "word", "reckoned by takeup"),
    Fact("fleet_forecasts", 9, "forecasts", "table 7"),
    Fact("fleet_lent", 203, "forecasts", "table 7"),
    Fact("factor_low", 0.70, "1", "table 7"),
    Fact("lead_days", 70.0, "d", "the register"),
    Fact("margin_days", 14.0, "d", "default, common practice, no source", is_default=True),
    Fact("need_by_on", date(2026, 4, 20), "day", "reckoned by takeup"),
    Fact("buy_by_on", date(2026, 1, 26), "day", "reckoned by takeup"),
)


def order(
    number: str, job: Job, subject: str, machine: MachineSheet, urgency: Urgency, *reasons: Reason
) -> Order:
    """An open order with dates and nights filled in."""
    return Order(
        number=number,
        job=job,
        subject_kind="source" if job is Job.CORRECT_DATA else "set" if job is Job.REPLACE_SET else "machine",
        subject=subject,
        machine=machine.machine,
        strands=() if job is Job.CORRECT_DATA else (f"{machine.machine}-A", f"{machine.machine}-B"),
        urgency=urgency,
        need_by=None,
        buy_by=None,
        shutdown="",
        governing="",
        parts=tuple(sorted(PARTS.get(job, ()))),
        reasons=reasons,
        raised_night=10,
        raised_as_of=date(2026, 2, 27),
        revised_night=12,
        revised_as_of=AS_OF,
    )


#: settings that entered the numbers: two defaults, and one of the site's own
READ = (
    Fact("limits.pin_share", 0.5, "1", "default, proposed for takeup, no source", is_default=True),
    Fact("planning.margin_days", 14.0, "d", "default, common practice, no source", is_default=True),
    Fact("planning.lead_days", 80.0, "d", "takeup.toml line 9, [planning] lead_days (maker; steward)"),
)


def reason(rule: str, subject: str, case: str, *facts: Fact) -> Reason:
    evidence = (Evidence("survey", (101, 102, 103)),)
    return Reason(rule, subject, case, facts, evidence=evidence, settings=READ)


def finding(word: str, seen: str, strand: str, severity: str) -> tuple[Fact, ...]:
    return (
        Fact("finding", word, "word", "inspection_findings.csv line 9"),
        Fact("findings", (word,), "words", "inspection_findings.csv line 9"),
        Fact("as_written", seen, "word", "inspection_findings.csv line 9"),
        Fact("place", f"mark 3 of {strand}", "word", "inspection_findings.csv line 9"),
        Fact("remark", "seen from the door, machine stopped", "word", "inspection_findings.csv line 9"),
        Fact("severity", severity, "word", "inspection_findings.csv line 9"),
        Fact("seen_on", date(2026, 3, 1), "day", "inspection_findings.csv line 9"),
        Fact("rows", 2, "rows", "inspection_findings.csv"),
    )


def orders() -> tuple[OrderSheet, ...]:
    """One open order of each kind."""
    evidence = tuple(
        EvidenceLine(100 + n, "elongation_readings", "survey 2026-03.csv", n, SHA) for n in range(2, 10)
    )
    replace_set = replace(
        order(
            "C-0003",
            Job.REPLACE_SET,
            "BE-31",
            ELEVATOR,
            Urgency.NEXT_SHUTDOWN,
            reason("limit_coming", "BE-31-A", "buy_by_reached", *COMING),
            reason(
                "matching",
                "BE-31",
                "difference_at_limit",
                Fact("strand_long", "BE-31-A", "word"),
                Fact("strand_short", "BE-31-B", "word"),
                Fact("e_long_percent", 1.657, "%"),
                Fact("e_short_percent", 1.312, "%"),
                Fact("difference_points", 0.345, "points"),
                Fact("uncertainty_points", 0.112, "points"),
                Fact(
                    "match_limit_points",
                    0.30,
                    "points",
                    "default, proposed for takeup, no source",
                    is_default=True,
                ),
                Fact("lag_by_tape_mm", 103.5, "mm"),
                Fact("skew_degrees", 6.6, "degree"),
            ),
        ),
        revision=3,
        need_by=date(2026, 4, 13),
        buy_by=date(2026, 1, 26),
        set_here_on=date(2026, 5, 8),  # raised on 27 February, 70 days before
        shutdown="Spring stop",
        governing="case",
    )
    measure = replace(
        order(
            "C-0005",
            Job.MEASURE,
            "BE-31",
            ELEVATOR,
            Urgency.PLAN,
            reason(
                "survey_overdue",
                "BE-31-B",
                "interval",
                Fact("survey_on", date(2025, 11, 3), "day"),
                Fact("next_survey_hours", 5600.0, "h"),
                Fact("next_survey_on", date(2026, 3, 7), "day"),
            ),
        ),
        need_by=date(2026, 3, 14),
        swallowed_by="C-0003",
    )
    fracture = order(
        "C-0001",
        Job.INVESTIGATE_FRACTURE,
        "DC-12",
        DRAG,
        Urgency.STOP_NOW,
        reason(
            "abnormal_finding",
            "DC-12-A",
            "fracture",
            *finding("broken_pin", "pin broken", "DC-12-A", "stop"),
            Fact("run_since_hours", 35.5, "h", "the meter readings"),
            Fact("run_from_on", date(2026, 3, 1), "day", "the meter readings"),
            Fact("run_to_on", date(2026, 3, 3), "day", "the meter readings"),
        ),
    )
    lubricate = replace(
        order(
            "C-0002",
            Job.LUBRICATE,
            "HD-07",
            DRIVE,
            Urgency.THIS_WEEK,
            reason(
                "lube_overdue",
                "HD-07-A",
                "overdue",
                Fact("last_lube_on", date(2026, 1, 12), "day"),
                Fact("last_lube_hours", 4210.0, "h"),
                Fact("due_hours", 4310.0, "h"),
                Fact("overdue_hours", 4320.0, "h"),
                Fact("due_on", date(2026, 2, 20), "day"),
                Fact("interval_hours", 100.0, "h", "default, common practice, no source", is_default=True),
                Fact("lube_plan", "open_conveyor", "word", "the register"),
                Fact("quantity_ml", 48.0, "mL", "the register"),
                Fact(
                    "least_ml",
                    24.0,
                    "mL",
                    "0.5 of the planned quantity: default, proposed for takeup, no source",
                ),
                Fact(
                    "most_ml",
                    96.0,
                    "mL",
                    "2 of the planned quantity: default, proposed for takeup, no source",
                ),
                Fact("blank_run", 3, "1", "the lube records"),
                Fact("lubricant", "ISO VG 220 mineral oil", "word"),
            ),
        ),
        state=OrderState.ACCEPTED,
    )
    takeup = order(
        "C-0004",
        Job.ADJUST_TAKEUP,
        "AF-02",
        FEEDER,
        Urgency.THIS_WEEK,
        reason(
            "takeup_low",
            "AF-02-A",
            "shorten",
            Fact("left_mm", 62.0, "mm"),
            Fact("travel_mm", 480.0, "mm"),
            Fact("trigger_mm", 72.0, "mm", "default, proposed for takeup, no source", is_default=True),
            Fact("takeup_on", date(2026, 3, 1), "day"),
            Fact("remove_pitches", 2, "pitches"),
            Fact("returns_mm", 154.8, "mm"),
            Fact("joining_slack_mm", 15.0, "mm"),
            Fact("left_after_mm", 216.8, "mm"),
            Fact("pitches_after", 238, "pitches"),
            Fact("used_mm", 418.0, "mm"),
        ),
    )
    rub = order(
        "C-0006",
        Job.INSPECT_ALIGNMENT,
        "AF-02",
        FEEDER,
        Urgency.THIS_WEEK,
        reason("abnormal_finding", "AF-02-B", "soon", *finding("side_rub", "side rub", "AF-02-B", "soon")),
    )
    teeth = order(
        "C-0007",
        Job.SPROCKETS,
        "DC-12",
        DRAG,
        Urgency.NEXT_SHUTDOWN,
        reason(
            "sprocket_wear",
            "DC-12",
            "tooth_worn",
            Fact("sprocket", "head, side A", "word"),
            Fact("checked_on", date(2026, 2, 26), "day"),
            Fact("depth_mm", 5.4, "mm"),
            Fact("depth_limit_mm", 5.1, "mm"),
            Fact("meshes_on", "barrel", "word"),
            Fact("mesh_diameter_mm", 50.8, "mm"),
            Fact("turned", False, "yes/no"),
        ),
    )
    data = order(
        "C-0008",
        Job.CORRECT_DATA,
        "elongation_readings/not_a_number",
        MachineSheet(""),
        Urgency.PLAN,
        reason(
            "data_unjudged",
            "elongation_readings/not_a_number",
            "rows_refused",
            Fact("rows", 3, "rows"),
            Fact("feed", "elongation_readings", "word"),
            Fact("reason", "not_a_number", "word"),
            Fact("lines", ("survey 2026-03.csv line 12", "survey 2026-03.csv line 19"), "words"),
        ),
    )
    override = OverrideLine(
        "plan_part",
        "The plan line as a part of the wear limit.",
        0.7,
        "1",
        "machine BE-31",
        "two spring stops were missed in a row",
        "chain steward",
        date(2025, 9, 1),
        date(2026, 9, 1),
        "takeup.toml, limits, plan_part",
    )
    return (
        OrderSheet(
            fracture,
            DRAG,
            evidence=evidence[:1],
            reminder=ReminderSheet("C-0001", DRAG),
            duration=Duration(8.0, False, 8.0, origins=(PRACTICE,), is_default=True),
        ),
        OrderSheet(
            lubricate,
            DRIVE,
            reminder=ReminderSheet("C-0002", DRIVE, SOURCES[:1]),
            duration=Duration(1.5, False, 1.5, origins=(PRACTICE,), is_default=True),
        ),
        OrderSheet(
            takeup,
            FEEDER,
            visit=(OtherOrder.of(rub),),
            reminder=ReminderSheet("C-0004", FEEDER, WHOLE),
            duration=Duration(8.0, False, 8.0, origins=(PRACTICE,), is_default=True),
        ),
        OrderSheet(
            rub,
            FEEDER,
            visit=(OtherOrder.of(takeup),),
            reminder=ReminderSheet("C-0006", FEEDER, WHOLE),
            duration=Duration(10.0, False, 10.0, origins=(PRACTICE,), is_default=True),
        ),
        OrderSheet(
            replace_set,
            ELEVATOR,
            series=(series(), unmeasured()),
            sprockets=SPROCKETS,
            measured_by=("C-0005",),
            visit=(OtherOrder.of(measure),),
            takes_in=(OtherOrder.of(measure),),
            overrides=(override,),
            evidence=evidence,
            duration=Duration(
                24.3,
                False,
                6.0,
                0.25,
                73.152,
                (PRACTICE,),
                True,
                (("BE-31-A", 36.576), ("BE-31-B", 36.576)),
            ),
            shutdown_from="2026-04-13 06:00",
            shutdown_to="2026-04-16 18:00",
            reminder=ReminderSheet("C-0003", ELEVATOR, SOURCES),
        ),
        OrderSheet(
            teeth,
            DRAG,
            reminder=ReminderSheet("C-0007", DRAG),
            sprockets=(replace(SPROCKETS[0], sprocket="head, side A", strands=("DC-12-A",), limit_mm=5.1),),
            duration=Duration(12.0, False, 0.0, 12.0, 1, (PRACTICE,), True),
        ),
        OrderSheet(
            measure,
            ELEVATOR,
            series=(replace(series(), strand="BE-31-B", forecast=None),),
            duration=Duration(2.5, False, 0.5, 0.25, 8, (PRACTICE,), True),
            visit=(OtherOrder.of(replace_set),),
            reminder=ReminderSheet("C-0005", ELEVATOR, SOURCES),
        ),
        OrderSheet(data, MachineSheet("")),
    )


KEPT_OUT = (
    KeptOut(
        "refused",
        "not_a_number",
        "elongation_readings",
        "survey 2026-03.csv",
        SHA,
        12,
        "BE-31-A,2026-03-02,3,routine,20,3O98.5,,",
        "length_mm",
        "3O98.5",
        "3098.5",
    ),
    KeptOut(
        "waiting",
        "strand_unknown",
        "lube_records",
        "lube 2026-03-01.csv",
        SHA,
        4,
        "BE-31-C,2026-03-01T06:15:00,mineral oil,48",
        "strand",
        "BE-31-C",
        "",
    ),
    KeptOut(
        "set aside",
        "copied_survey",
        "elongation_readings",
        "survey 2026-02.csv",
        SHA,
        31,
        "AF-02-A,2026-02-16,1,routine,20,3066.0,,",
        subject="AF-02-A",
        row_id=77,
    ),
    KeptOut(
        "refused",
        "unknown_word",
        "inspection_findings",
        "round 2026-03-02.csv",
        SHA,
        3,
        '<b>DC-12</b>,DC-12-A,2026-03-02,pin sheared off,head,severe,=HYPERLINK("x")',
        "severity",
        "severe",
        "stop, soon, shutdown, note",
    ),
)


def answer(sheet: OrderSheet) -> OrderAnswer:
    """Why an order stands, with something of everything left out, decided and replaced."""
    order = sheet.order
    return OrderAnswer(
        order,
        (
            OrderEvent(9, date(2026, 2, 16), order.number, 1, Change.RAISED, {}, {"urgency": "plan"}),
            OrderEvent(
                12, AS_OF, order.number, 2, Change.REVISED, {"urgency": "plan"}, {"urgency": "this week"}
            ),
        ),
        tuple(
            ExportLine(one.row_id, one.feed, one.file, one.line, one.sha256 or SHA, one.part)
            for one in sheet.evidence
        ),
        (
            CloseOut(
                "2026-02-20",
                "accepted",
                "",
                "",
                None,
                "ring the shift first",
                "",
                "",
                "planner",
                "closeouts 2026-02-20.csv",
                3,
                SHA,
            ),
        ),
        LeftOut(
            KEPT_OUT,
            (UnfitSurvey("BE-31-A", date(2026, 1, 12), "copied_survey", usable=False),),
            (
                EndedRow(
                    "strands", "strands 2026-01.csv", 7, SHA, "superseded", AS_OF, "strands 2026-03.csv", 7
                ),
            ),
        ),
        "0.1.0",
        SHA,
    )


def strand_answer() -> StrandAnswer:
    """What rules say of one strand of the replacement: every reason as a verdict, with gates, and more."""
    (sheet,) = [one for one in orders() if one.order.number == "C-0003"]
    told = answer(sheet)
    verdicts = [
        Verdict(
            one.rule, "strand", one.subject, Answer.DUE, "BE-31", sheet.order.job, sheet.order.urgency,
            2.1, 2.0, -0.1, "%", reason=one.case, facts=one.facts, settings=one.settings,
            evidence=one.evidence,
        )
        for one in sheet.order.reasons
    ]  # fmt: skip
    verdicts.append(
        Verdict(
            "grease_on_dry", "strand", "BE-31-A", Answer.CLEAR, "BE-31", reason="not_greased",
            turning_on=date(2026, 5, 4), turning_hours=9100.0, turning_to="due",
        )
    )  # fmt: skip
    verdicts.append(
        Verdict(
            "takeup_low", "strand", "BE-31-A", Answer.CANNOT_JUDGE, "BE-31", reason="no_travel",
            facts=(Fact("missing", ("takeup_travel_mm",), "words", "the register"),),
        )
    )  # fmt: skip
    gates = {
        Answer.DUE: (
            Gate("asked", {"order": "C-0003", "until": None, "part_of": ""}),
            Gate("waits", {"order": "C-0003", "waits_for": ("C-0001",)}),
        ),
        Answer.CLEAR: (Gate("feed_silent", {"feed": "lube_records", "since": date(2026, 2, 3)}),),
        Answer.CANNOT_JUDGE: (
            Gate("register_lacks", {"missing": ("takeup_travel_mm",)}),
            Gate("rows_kept_out", {"feed": "takeup_readings", "rows": 2}),
        ),
    }
    return StrandAnswer(
        "BE-31-A",
        12,
        AS_OF,
        tuple(Answered(one, gates[one.answer]) for one in verdicts),
        (sheet.order,),
        told.lines,
        told.left_out,
        "0.1.0",
        SHA,
        ("lube_overdue",),
    )


def evidence() -> StrandEvidence:
    """Two lives of that strand, with surveys, marks and events of every kind."""
    first, second = date(2024, 1, 8), date(2025, 2, 3)

    def survey(fitted: date, on: date, hours: float, percent: float, *, note: str = "") -> SurveyLine:
        marks = tuple(
            MarkLine(name, 20.0, 3048.0 + percent, percent + more, not note, "survey <2026>.csv", 4 + place)
            for place, (name, more) in enumerate((("1", -0.05), ("2", 0.05)))
        )
        return SurveyLine(fitted, on, "routine", hours, percent, 0.11, not note, not note, note, marks)

    return StrandEvidence(
        "BE-31-A",
        AS_OF,
        series(),
        (LifeLine(first, second, 7400.0, 2), LifeLine(second, None, 8900.0, 3)),
        (
            survey(first, date(2024, 6, 3), 2900.0, 0.6),
            survey(first, date(2025, 1, 20), 7300.0, 1.7),
            survey(second, date(2025, 8, 4), 3900.0, 0.8),
            survey(second, date(2025, 8, 5), 3910.0, 0.4, note="copied_survey"),
            survey(second, date(2026, 2, 27), 8800.0, 1.9),
        ),
        (
            Event(date(2024, 7, 1), "shortening", {"pitches": 2.0}),
            Event(
                date(2025, 9, 1),
                "lubrication",
                {"lubricant": "oil & soot", "method": "can", "quantity_ml": 60.0},
            ),
            Event(
                date(2026, 1, 5),
                "finding",
                {"finding": "side_rub", "place": "head", "severity": "soon", "remark": "<b>", "raw": "rub"},
            ),
            Event(
                date(2026, 2, 16),
                "order",
                {"order": "C-0003", "job": "replace_set", "state": "proposed"},
                None,
            ),
        ),
    )


def night() -> NightSheet:
    """The whole night."""
    sheets = tuple(replace(sheet, answered=True) for sheet in orders())
    event = OrderEvent(
        12, AS_OF, "C-0003", 3, Change.REVISED, {"need_by": "2026-05-04"}, {"need_by": "2026-04-13"}
    )
    ended = OrderEvent(
        12,
        AS_OF,
        "C-0000",
        1,
        Change.DONE,
        {"state": "accepted"},
        {"state": "done"},
        "shift fitter",
        "all joints wetted",
    )
    return NightSheet(
        site="Northbank Works",
        answers=tuple(map(answer, sheets)),
        number=12,
        as_of=AS_OF,
        previous_as_of=date(2026, 2, 27),
        orders=sheets,
        changes=(
            ChangeLine(event, Job.REPLACE_SET, "set", "BE-31", "BE-31", Urgency.NEXT_SHUTDOWN),
            ChangeLine(ended, Job.LUBRICATE, "machine", "DC-12", "DC-12", Urgency.PLAN),
        ),
        unread_stops=KEPT_OUT[3:],
        unjudged=(
            Verdict("wear_limit", "strand", "AF-02-A", Answer.CANNOT_JUDGE, "AF-02", reason="silence"),
            Verdict("limit_coming", "strand", "AF-02-A", Answer.CANNOT_JUDGE, "AF-02", reason="silence"),
            Verdict(
                "takeup_low",
                "strand",
                "BE-31-B",
                Answer.CANNOT_JUDGE,
                "BE-31",
                reason="no_travel",
                facts=(Fact("missing", ("takeup_travel_mm",), "words"),),
            ),
        ),
        kept_out=KEPT_OUT,
        accounting=(
            Accounting("survey 2026-03.csv", SHA, "elongation_readings", 48, 44, 1, 0, 3, 0),
            Accounting("lube 2026-03-01.csv", SHA, "lube_records", 6, 4, 0, 1, 0, 1),
            Accounting("round 2026-03-02.csv", SHA, "inspection_findings", 5, 4, 0, 0, 1, 0),
        ),
        refused_files=(
            RefusedFile(
                "strands 2026-03.csv",
                "strands",
                "too_many_missing",
                "31 of 120 keys missing",
                "at most one in ten missing",
            ),
        ),
        closed_keys=(ClosedKey("machines", "HD-05", "machines 2026-03.csv"),),
        stale_feeds=(
            StaleFeed("run_hours", 9, date(2026, 2, 20), date(2026, 2, 19), 1.0),
            StaleFeed("sprocket_checks", None, None, None, 30.0),
        ),
        calibration=CalibrationRecord(
            7,
            date(2026, 3, 1),
            48,
            False,
            (
                CalibrationCell(True, 1, 212, 31, 48, 0.70, 1.62),
                CalibrationCell(False, 4, 188, 0, 44, 0.78, 1.44),
            ),
        ),
        document={"site": "Northbank Works", "orders": []},
        versions=(("takeup", "0.1.0"), ("tzdata", "2026.1")),
    )
