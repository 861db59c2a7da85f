"""Every reason, case and finding has its sentence, and the sentence is one a reader can use."""

from __future__ import annotations

import re
from datetime import date

import pytest
from tests.documents.plant import TEMPLATES

from takeup.derive.reasons import Reason as SetAside
from takeup.derive.vocabulary import UNCLASSIFIED, VOCABULARY
from takeup.documents.environment import environment
from takeup.documents.files import CLOSEOUT_COLUMNS
from takeup.documents.index import kept_out_sentence
from takeup.documents.sentences import codes, sentence
from takeup.documents.words import FACT_WORDS, fact_value, rule_sentence
from takeup.errors import OurFault
from takeup.judgement.cases import CASES as JUDGED_CASES
from takeup.judgement.facts import FACTS
from takeup.judgement.nextchain import EVIDENCE
from takeup.judgement.options import BY_NAME, MECHANISMS
from takeup.judgement.register import CODES as LACKING
from takeup.model import Fact, KeptOut, Urgency
from takeup.night.decided import REASON as BY_A_PERSON
from takeup.orders.closeouts import REASONS
from takeup.orders.silence import CASES as ORDERED_CASES
from takeup.store.reasons import FileRefusal, Refusal, Waiting

CASES = {**JUDGED_CASES, **ORDERED_CASES}

ENV = environment([TEMPLATES])
BARE_CODE = re.compile(r"\b[a-z]+_[a-z_]+\b|\bJ[1-8]\b")
WORD_VALUES = {
    "zero": "as_fitted",
    "from_mark": "mean",
    "baseline": "as_left",
    "limit": "case",
    "limit_kind": "strength",
    "next_limit": "bushing",
    "next_limit_kind": "strength",
    "at_limit": "case",
    "not_judged": ("chrome", "pin"),
    "at_most": "conveyor",
    "missing": ("pitch_mm", "pitches"),
    "value": "pitch_mm",
    "rate_source": "own",
    "bounds_basis": "fleet",
    "since_case_agrees": "slower",
    "default_case": "past",
    "case_part": "bushing",
    "lube_plan": "open_conveyor",
    "finding": "side_rub",
    "findings": ("side_rub", "rust"),
    "severity": "soon",
    "hastened_by": ("starved", "seals_lost"),
    "meshes_on": "barrel",
    "why_not": "never",
    "takeup_basis": "brought_forward",
    "feed": "elongation_readings",
    "reason": "not_a_number",
    "lacking": ("no_sources", "no_magnitude"),
    "lacking_of": ("", "main drive motor"),
}

REGISTRIES = {
    "refused": set(Refusal),
    "waiting": set(Waiting),
    "set_aside": {*SetAside, *REASONS, BY_A_PERSON},
    "file_refused": set(FileRefusal),
    "rule": {f"{rule}__{case}" for rule, cases in CASES.items() for case in cases},
    "finding": {*VOCABULARY, UNCLASSIFIED},
    "urgency": {urgency.replace(" ", "_") for urgency in Urgency},
    "lacking": set(LACKING),
    "option": set(BY_NAME),
    "evidence": set(EVIDENCE),
}


def fact(name: str) -> Fact:
    """A fact of that name with a value of its kind."""
    unit = FACTS[name][0]
    kinds = {
        "day": date(2026, 3, 2),
        "word": WORD_VALUES.get(name, "some text"),
        "words": WORD_VALUES.get(name, ("AF-02-A", "AF-02-B")),
        "yes/no": True,
    }
    return Fact(name, kinds.get(unit, 12.5), unit, "the register")


def all_facts() -> dict[str, object]:
    asked_by_orders = (Fact("order", "C-0007"), Fact("job", "measure"), Fact("done_on", date(2026, 3, 2)))
    return {name: fact(name) for name in FACTS} | {each.name: each for each in asked_by_orders}


@pytest.mark.parametrize("kind", REGISTRIES)
def test_every_code_has_its_sentence_and_every_sentence_its_code(kind: str) -> None:
    assert codes([TEMPLATES], kind) == {str(code) for code in REGISTRIES[kind]}


@pytest.mark.parametrize("code", sorted(REGISTRIES["rule"]))
def test_a_rules_sentence_reads_well(code: str) -> None:
    text = sentence(ENV, "rule", code, {**all_facts(), "subject": "BE-31-A"})
    assert readable(text)
    assert not BARE_CODE.search(text)


@pytest.mark.parametrize(
    "code",
    [
        f"{rule}__{case}"
        for rule, cases in CASES.items()
        for case, meaning in cases.items()
        if meaning.startswith("cannot judge")
    ],
)
def test_what_cannot_be_judged_can_be_said_without_a_single_fact(code: str) -> None:
    """The index lists it just where facts are missing."""
    assert readable(sentence(ENV, "rule", code, {"subject": "BE-31-A"}))


def readable(text: str) -> bool:
    """One or more whole sentences, without gaps or signs left over."""
    return (
        (text[:1].isupper() or text[:1].isdigit() or text.startswith("BE-31-A"))
        and text.endswith(".")
        and not re.search(r" [.,;:]|\.\.|,\.|\(\)|[a-z]\d|None|nan|[{}]", text)
    )


@pytest.mark.parametrize(
    ("state", "code"),
    [
        *(("refused", code) for code in Refusal),
        *(("waiting", code) for code in Waiting),
        *(("set aside", code) for code in (*SetAside, *REASONS)),
    ],
)
def test_a_row_kept_out_is_told_why(state: str, code: str) -> None:
    row = KeptOut(state, code, "lube_records", "a.csv", "0" * 64, 7, "x,y", "amount", "4O", "40", "C 12")
    text = kept_out_sentence(ENV, row)
    assert re.search(r" [.,;:]|\.\.|,\.|\(\)|None", text) is None
    assert text.endswith((".", "?"))
    # The columns of the form are what the reader has to fill, by these names.
    assert not set(BARE_CODE.findall(text)) - {*CLOSEOUT_COLUMNS}


@pytest.mark.parametrize("code", sorted(FileRefusal))
def test_a_file_refused_is_told_why(code: str) -> None:
    text = sentence(ENV, "file_refused", code, {"found": "31", "wanted": "120"})
    assert text.endswith(".")
    assert not BARE_CODE.search(text)


@pytest.mark.parametrize("code", sorted(VOCABULARY))
def test_a_finding_says_what_it_is_what_to_check_and_what_not_to_conclude(code: str) -> None:
    parts = {
        part: sentence(ENV, "finding", code, part=part) for part in ("what", "causes", "checks", "beware")
    }
    assert parts["what"].endswith(".")
    assert not BARE_CODE.search(" ".join(parts.values()))
    if VOCABULARY[code].jobs:
        assert parts["causes"].startswith("Likely causes: ")
        assert parts["checks"].startswith("Check: ")
        assert parts["beware"].startswith("Do not conclude: ")


@pytest.mark.parametrize("code", sorted(BY_NAME))
def test_an_option_says_what_it_cures_what_it_leaves_and_what_it_costs(code: str) -> None:
    for part in ("cures", "leaves", "trade"):
        text = sentence(ENV, "option", code, part=part)
        assert text
        assert not BARE_CODE.search(text)
    assert ENV.filters["word"](code, "option")


@pytest.mark.parametrize("code", BY_NAME)
def test_a_plating_that_can_crack_hard_parts_says_hydrogen(code: str) -> None:
    assert ("hydrogen" in sentence(ENV, "option", code, part="trade")) == BY_NAME[code].hydrogen


@pytest.mark.parametrize("code", EVIDENCE)
def test_evidence_that_is_wanting_is_told_in_a_whole_sentence(code: str) -> None:
    assert readable(sentence(ENV, "evidence", code, {"faults": "lubrication"}, part="common"))


def test_every_way_of_wearing_has_its_word() -> None:
    assert all(ENV.filters["word"](name, "mechanism") for name in MECHANISMS)


def test_the_value_of_every_fact_is_written_in_words() -> None:
    for name in FACTS:
        text = fact_value(ENV, fact(name))
        assert text
        assert not BARE_CODE.search(text), name


def test_facts_that_are_codes_are_the_ones_said_to_be_words() -> None:
    asked_by_orders = {"job"}
    assert set(FACT_WORDS) <= set(FACTS) | asked_by_orders
    assert set(WORD_VALUES) - {"lacking_of"} | asked_by_orders == set(FACT_WORDS)


def test_the_arithmetic_can_be_followed() -> None:
    """A reader adds up what the sentence says: 1.900 + 0.112 = 2.012, past 1.969."""
    facts = all_facts() | {
        "e_percent": Fact("e_percent", 1.9, "%"),
        "uncertainty_percent": Fact("uncertainty_percent", 0.112, "%"),
        "limit_percent": Fact("limit_percent", 1.969, "%"),
        "subject": "BE-31-A",
    }
    text = sentence(ENV, "rule", "wear_limit__acceleration_within", facts)
    assert "1.900 ± 0.112 % longer than as fitted: with its uncertainty 2.012 %, so 1.969 %" in text


def test_a_missing_fact_stops_the_page_and_names_it() -> None:
    with pytest.raises(OurFault, match=r"needs a fact that is not there: 'survey_on' is undefined"):
        sentence(ENV, "rule", "wear_limit__strength_past", {"subject": "BE-31-A"})


def test_a_code_without_a_sentence_stops_the_page() -> None:
    with pytest.raises(OurFault, match=r"there is no sentence for the rule 'polish__shiny'"):
        sentence(ENV, "rule", "polish__shiny", {})


@pytest.mark.parametrize("code", ["../words", "refused/../../x", "A", "wear limit\n", ""])
def test_a_code_never_becomes_a_path(code: str) -> None:
    with pytest.raises(OurFault, match="there is no sentence"):
        sentence(ENV, "refused", code, {})


def test_data_in_a_sentence_stays_data() -> None:
    row = KeptOut(
        "refused", "unknown_word", "lube_records", "a.csv", "", 7, "", "method", "{{ 7 * 7 }}<b>&amp;", "x"
    )
    assert "“{{ 7 * 7 }}<b>&amp;”" in kept_out_sentence(ENV, row)


def test_a_sites_own_sentence_goes_before_ours(tmp_path) -> None:
    own = tmp_path / "sentences" / "urgency"
    own.mkdir(parents=True)
    (own / "plan.txt.j2").write_text("Some day.\n", encoding="utf-8")
    env = environment([tmp_path, TEMPLATES])
    assert sentence(env, "urgency", "plan") == "Some day."
    assert (
        sentence(env, "urgency", "this_week")
        == "To be done by the need-by day: a week after it was asked for, or the earlier day that the wear "
        "gives; a new set by the day that its limit gives."
    )


@pytest.mark.parametrize("code", sorted(codes([TEMPLATES], "glossary")))
def test_every_term_of_the_glossary_is_used_on_a_page_and_explained(code: str) -> None:
    names, what = (sentence(ENV, "glossary", code, part=part) for part in ("name", "what"))
    assert what.endswith(".")
    assert not BARE_CODE.search(names + what)
    written = " ".join(
        path.read_text(encoding="utf-8").lower()
        for path in TEMPLATES.rglob("*")
        if path.suffix in (".j2", ".toml") and path.parent.name != "glossary"
    )
    for name in re.split(r", | and ", names):
        assert name.lower() in written, name


def test_a_gap_in_the_register_forbids_the_lockout_as_its_reminder_does() -> None:
    facts = (Fact("lacking", ("no_procedure",)), Fact("lacking_of", ("",)))
    said = rule_sentence(ENV, "register_gap", "incomplete", "SC-51", facts)
    assert said.endswith("must put this right. No lockout, and no work that needs one, before that.")
