"""What people saw: which work it asks for, how soon, and what ends it."""

from __future__ import annotations

from datetime import date
from functools import cache
from typing import TYPE_CHECKING, Any

import pytest
from tests.judgement.plant import (
    MONDAY,
    alone,
    due,
    fact,
    findings,
    judged,
    metered,
    strand,
    surveys,
    verdict,
    worn,
)

from takeup.derive.vocabulary import CORROSION, NOTE, NOTHING_FOUND, VOCABULARY
from takeup.documents.environment import environment
from takeup.documents.words import rule_sentence
from takeup.judgement.judging import Judged
from takeup.model import Job, Urgency, row_ids
from takeup.resources import templates_dir

if TYPE_CHECKING:
    import pandas as pd

STOP, SOON, NEXT, PLAN = Urgency.STOP_NOW, Urgency.THIS_WEEK, Urgency.NEXT_SHUTDOWN, Urgency.PLAN
ONLY = ("abnormal_finding",)
ASKED = ("abnormal_finding", "S")
FRACTURE, ALIGN, LUBE = Job.INVESTIGATE_FRACTURE, Job.INSPECT_ALIGNMENT, Job.LUBRICATE

#: finding → differs, strand differs, case, job, urgency
WORDS: dict[str, tuple[dict[str, Any], dict[str, Any], str, Job | None, Urgency | None]] = {
    "cracked_pin": ({"stop_class": True}, {}, "fracture", FRACTURE, STOP),
    "turned_pin": ({"stop_class": True}, {}, "fracture", FRACTURE, STOP),
    "a fracture cannot be lowered": (
        {"finding": "broken_sidebar", "severity": "note"}, {}, "fracture", FRACTURE, STOP,
    ),
    "side_rub": ({}, {}, "soon", ALIGN, SOON),
    "side_rub stated lower": ({"finding": "side_rub", "severity": "note"}, {}, "soon", ALIGN, SOON),
    "side_rub stated higher": (
        {"finding": "side_rub", "severity": "stop", "stop_class": True}, {}, "stop", ALIGN, STOP,
    ),
    "a remark tells of breaking": (
        {"finding": "side_rub", "stop_class": True, "remark": "plate cracked"},
        {}, "fracture", FRACTURE, STOP,
    ),
    "slack": ({}, {}, "soon", Job.ADJUST_TAKEUP, SOON),
    "slack after one event": ({"finding": "slack", "stop_class": True}, {}, "fracture", FRACTURE, STOP),
    "jumping": ({"stop_class": True}, {}, "stop", Job.ADJUST_TAKEUP, STOP),
    "hooked_teeth": ({}, {}, "shutdown", Job.SPROCKETS, NEXT),
    "tooth_tip_wear": ({}, {}, "shutdown", Job.MEASURE, NEXT),
    "stiff_link": ({}, {}, "soon", LUBE, SOON),
    "stiff_link on a dry chain": (
        {"finding": "stiff_link"}, {"lube_plan": "none_by_decision"}, "soon", ALIGN, SOON,
    ),
    "knock": ({}, {}, "noted", None, None),
    "rust is corrosion_review's": ({"finding": "rust", "severity": "shutdown"}, {}, "none_open", None, None),
    "a remark beside rust tells of breaking": (
        {"finding": "rust", "stop_class": True, "remark": "pin cracked too"}, {}, "fracture", FRACTURE, STOP,
    ),
    "free words": ({"finding": "unclassified"}, {}, "unread", Job.CORRECT_DATA, PLAN),
    "free words, soon": (
        {"finding": "unclassified", "severity": "soon"}, {}, "unread", Job.CORRECT_DATA, SOON,
    ),
    "free words of breaking": (
        {"finding": "unclassified", "stop_class": True}, {}, "unread_stop", FRACTURE, STOP,
    ),
    "nothing_found": ({}, {}, "none_open", None, None),
}  # fmt: skip


@cache
def told() -> Judged:
    """Every finding of the table, each on a strand of its own."""
    rows = [alone(name, **case[1]) for name, case in WORDS.items()]
    seen = [
        {"finding": name, "strand": name, "machine": f"machine of {name}"} | case[0]
        for name, case in WORDS.items()
    ]
    return judged(*rows, findings=findings(*seen))


@pytest.mark.parametrize("name", WORDS)
def test_each_finding_asks_for_its_own_work(name: str) -> None:
    _, _, case, job, urgency = WORDS[name]
    row = verdict(told(), "abnormal_finding", name) if job is None else due(told(), "abnormal_finding", name)
    assert row.reason == case
    if job is not None:
        assert (row.job, row.urgency) == (job, urgency)


def test_no_word_of_the_vocabulary_ends_without_work_or_a_note() -> None:
    elsewhere = {NOTHING_FOUND, *CORROSION}
    wanted = {word: known for word, known in VOCABULARY.items() if word not in elsewhere}
    seen = [
        {"finding": word, "strand": word, "stop_class": known.stop_class} for word, known in wanted.items()
    ]
    found = judged(*(alone(word) for word in wanted), findings=findings(*seen), only=ONLY)
    for word, known in wanted.items():
        row = verdict(found, "abnormal_finding", word)
        assert (row["answer"], row["reason"] == "noted") == (
            ("clear", True) if known.severity == NOTE else ("due", False)
        ), word


def ends(
    word: str, closed: dict[tuple[Job, int], float] | None = None, later: Any = None, **differs: Any
) -> pd.Series:
    seen = {"finding": word, "stop_class": VOCABULARY[word].stop_class, "day": MONDAY - 20}
    rows = [seen, *([later] if later else [])]
    return verdict(
        judged(strand(**differs), findings=findings(*rows), closed=closed, only=ONLY),
        "abnormal_finding",
    )


LOOKED = {"finding": NOTHING_FOUND, "severity": "", "day": MONDAY - 10}


@pytest.mark.parametrize(
    ("more", "rub", "crack"),
    [
        pytest.param({}, "soon", "fracture", id="nothing-since"),
        pytest.param({"later": LOOKED}, "closed", "fracture", id="strand-looked-at-later"),
        pytest.param({"later": LOOKED | {"strand": ""}}, "closed", "fracture", id="machine-looked-at-later"),
        pytest.param({"later": LOOKED | {"day": MONDAY - 30}}, "soon", "fracture", id="looked-at-before"),
        pytest.param(
            {"later": LOOKED | {"strand": "BE-1-B"}}, "soon", "fracture", id="the-other-strand-looked-at"
        ),
        pytest.param({"fitted_day": MONDAY - 5}, "closed", "fracture", id="chain-renewed-since"),
        pytest.param({"later": LOOKED | {"place": "tail"}}, "soon", "fracture", id="another-place-looked-at"),
        pytest.param({"closed": {(ALIGN, 500): MONDAY - 20}}, "closed", "fracture", id="aligned-that-day"),
        pytest.param({"closed": {(ALIGN, 500): MONDAY - 21}}, "soon", "fracture", id="aligned-before"),
        pytest.param({"closed": {(ALIGN, 499): MONDAY}}, "soon", "fracture", id="another-finding-asked-for"),
        pytest.param({"closed": {(FRACTURE, 500): MONDAY}}, "soon", "closed", id="investigated"),
    ],
)
def test_a_fracture_ends_by_close_out_alone(more: dict[str, Any], rub: str, crack: str) -> None:
    assert ends("side_rub", **more)["reason"] == rub
    assert ends("cracked_pin", **more)["reason"] == crack


def test_a_look_at_a_place_ends_what_was_seen_there() -> None:
    there = {"finding": "side_rub", "day": MONDAY - 20, "place": "Head shaft"}
    look = LOOKED | {"place": "head-shaft"}
    for seen, case in (((there, look), "closed"), ((there | {"place": "tail"}, look), "soon")):
        found = judged(strand(), findings=findings(*seen), only=ONLY)
        assert verdict(found, "abnormal_finding")["reason"] == case


@pytest.mark.parametrize(
    ("fitted", "first_load", "case"),
    [
        pytest.param(MONDAY - 19, True, "closed", id="history-of-a-chain-since-replaced"),
        pytest.param(MONDAY - 20, True, "fracture", id="on-the-day-of-fitting-it-may-be-the-new-chain"),
        pytest.param(MONDAY - 300, True, "fracture", id="history-of-the-chain-that-runs"),
        pytest.param(MONDAY - 19, False, "fracture", id="news-of-a-chain-replaced-since"),
    ],
)
def test_a_first_loads_fracture_of_a_chain_since_replaced_stops_no_machine(
    fitted: int, first_load: bool, case: str
) -> None:
    seen = {"finding": "cracked_pin", "stop_class": True, "day": MONDAY - 20, "first_load": first_load}
    found = judged(strand(fitted_day=fitted), findings=findings(seen), only=ONLY)
    assert verdict(found, "abnormal_finding")["reason"] == case


def test_findings_that_ask_for_several_jobs_are_due_for_each_and_the_frame_shows_the_most_urgent() -> None:
    seen = findings(
        {"finding": "side_rub"},
        {"finding": "hooked_teeth"},
        {"finding": "bent_attachment", "day": MONDAY - 3, "place": "mark 3", "remark": "leaning"},
        {"finding": "cracked_pin", "stop_class": True},
    )
    found = judged(strand(), findings=seen)
    asked = {each.job: each for each in found.due if each.rule == "abnormal_finding"}
    assert set(asked) == {ALIGN, Job.SPROCKETS, FRACTURE}
    assert verdict(found, "abnormal_finding")["job"] == FRACTURE.value
    rub = asked[ALIGN]
    assert (fact(rub, "finding"), fact(rub, "findings")) == ("side_rub", ("side_rub", "bent_attachment"))
    assert (fact(rub, "rows"), fact(rub, "seen_on")) == (2, date(2026, 3, 2))
    assert row_ids(rub.evidence) == (500, 502)


def test_a_finding_on_the_machine_is_the_machines() -> None:
    found = judged(strand(), findings=findings({"strand": ""}))
    assert due(found, "abnormal_finding", "BE-1").subject_kind == "machine"
    assert verdict(found, "abnormal_finding")["reason"] == "none_open"


def test_a_fracture_on_a_strand_the_register_has_closed_still_stands() -> None:
    gone = {"strand": "BE-1-C", "finding": "cracked_pin", "stop_class": True}
    asked = due(judged(strand(), findings=findings(gone)), "abnormal_finding", "BE-1-C")
    assert (asked.reason, asked.machine) == ("fracture", "BE-1")


def test_a_later_look_at_the_machine_is_new_evidence_for_its_strands() -> None:
    before = ends("side_rub")
    after = ends("side_rub", later=LOOKED | {"strand": ""})
    assert before["evidence_key"] != after["evidence_key"]


def test_a_seal_lost_is_the_cause_of_a_rate_that_rose() -> None:
    points = [(500, 0.2), (1500, 0.5), (2500, 0.8), (3500, 1.1), (4500, 2.0)]
    row = {"pin_case_mm": 0, "bushing_case_mm": 0, "survey_hours": 4500} | worn(2.0)
    seen = findings({"finding": "seal_missing", "day": MONDAY - 40})
    found = judged(strand(**row), findings=seen, surveys=surveys(("BE-1-A|2025-03-01", points)))
    assert verdict(found, "rate_change")["reason"] == "seal_finding"


# ------------------------------------------------------------------------------------ whose word it is


@pytest.mark.parametrize(
    ("differs", "origin"),
    [
        ({"finding": "cracked_bushing", "stop_class": True}, "the vocabulary of findings"),
        (
            {"finding": "cracked_bushing", "stop_class": True, "severity": "note"},
            "the vocabulary of findings",
        ),
        ({"finding": "cracked_bushing", "stop_class": True, "severity": "stop"}, "the inspection finding"),
        ({"finding": "unclassified", "stop_class": True, "remark": "cracked?"}, "the words of the finding"),
        ({"finding": "side_rub", "stop_class": True, "remark": "plate cracked"}, "the words of the finding"),
        ({"finding": "side_rub", "severity": "soon"}, "the inspection finding"),
    ],
    ids=["word", "row states less", "row", "free words", "remark", "row, soon"],
)
def test_a_severity_says_whether_row_vocabulary_or_words_set_it(differs: dict[str, Any], origin: str) -> None:
    found = due(
        judged(alone("S"), findings=findings({"strand": "S", "machine": "machine of S"} | differs)), *ASKED
    )
    (severity,) = [one for one in found.facts if one.name == "severity"]
    assert severity.origin.startswith(origin)


def test_the_sentence_names_the_word_that_set_the_severity() -> None:
    words = {"site_word": "Bolzen gebrochen", "telling_word": "broken"}
    seen = {"strand": "S", "machine": "machine of S", "stop_class": True} | words
    for differs, said in (
        ({"finding": "broken_pin"}, "“Bolzen gebrochen”, the site's own word"),
        ({"finding": "side_rub", "remark": "plate broken"}, "The word “broken” in it"),
    ):
        found = due(judged(alone("S"), findings=findings(seen | differs)), *ASKED)
        text = rule_sentence(
            environment([templates_dir()]), found.rule, found.reason, found.subject, found.facts
        )
        assert said in text
        # A word of the vocabulary that stops by itself needs no other.
        assert ("The word" in text) == (differs["finding"] == "side_rub")


# ---------------------------------------------------------------------------------- a machine that runs on


def test_hours_that_the_meter_shows_after_a_stop_are_told_with_their_readings() -> None:
    def told(*readings: tuple[int, float], **differs: Any) -> Any:
        seen = {"finding": "cracked_pin", "stop_class": True, "strand": "S", "machine": "machine of S"}
        return due(judged(alone("S"), findings=findings(seen | differs), meters=metered(*readings)), *ASKED)

    since = (MONDAY - 1, 1000.0), (MONDAY + 1, 1024.0), (MONDAY + 4, 1060.5)
    row = told(*since)
    # The reading before the finding holds hours of before it: what is told begins with the first one after.
    assert fact(row, "run_since_hours") == 36.5
    assert (fact(row, "run_to_on") - fact(row, "run_from_on")).days == 3
    assert len({each.part: each.rows for each in row.evidence}["meter"]) == 2
    stood = told((MONDAY - 1, 1000.0), (MONDAY + 1, 1024.0), (MONDAY + 4, 1024.0))
    silent = told((MONDAY - 1, 1000.0), (MONDAY + 1, 1024.0))
    warned = told(*since, finding="side_rub", stop_class=False)
    for each in (stood, silent, warned):
        assert not [one for one in each.facts if one.name == "run_since_hours"]
