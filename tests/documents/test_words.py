"""Every code that can reach a reader has a name in words, and no name stands for a code that is gone."""

from __future__ import annotations

import tomllib

import pytest
from tests.documents.plant import TEMPLATES

from takeup.audit.replay import Kind
from takeup.contracts import contract
from takeup.derive.reasons import Note
from takeup.derive.reasons import Reason as SetAside
from takeup.derive.vocabulary import UNCLASSIFIED, VOCABULARY
from takeup.documents.environment import environment
from takeup.documents.words import subject_name
from takeup.errors import OurFault, SettingsError
from takeup.judgement.cases import BOUNDS_BASES, CASES, CORRECTED_FEED, LIMIT_KINDS, RATE_SOURCES
from takeup.judgement.edges import EDGES
from takeup.judgement.facts import FACTS
from takeup.judgement.limits import LIMITS
from takeup.judgement.register import CODES
from takeup.judgement.rules import data_unjudged
from takeup.model import Answer, Change, Feed, Job, OrderState, Urgency
from takeup.orders.candidates import PARTS
from takeup.orders.closeouts import REASONS
from takeup.orders.silence import CASES as ORDERED_CASES
from takeup.store.reasons import FileRefusal, Refusal, Waiting

WORDS = tomllib.loads((TEMPLATES / "words.toml").read_text(encoding="utf-8"))


def choices(feed: Feed, column: str) -> set[str]:
    """The words a column of a contract may hold."""
    return set(next(field for field in contract(feed).fields if field.name == column).words)


def slugs(codes: object) -> set[str]:
    return {str(code).replace(" ", "_") for code in codes}  # type: ignore[attr-defined]


#: due cases of the rules about a strand or a machine that ask to correct data
ASKS_TO_CORRECT = {
    "lube_quantity": ["too_little", "too_much"],
    "grease_on_dry": ["greased"],
    "tape_against_takeup": ["apart"],
    "register_loop": ["loop_apart"],
    "abnormal_finding": ["unread"],
    "register_gap": ["incomplete"],
}

REGISTRIES = {
    "lacking": set(CODES),
    "job": slugs(Job),
    "urgency": slugs(Urgency),
    "state": slugs(OrderState),
    "change": slugs(Change),
    "feed": slugs(Feed),
    "answer": slugs(Answer),
    "finding": {*VOCABULARY, UNCLASSIFIED},
    "reason": {*FileRefusal, *Refusal, *Waiting, *SetAside, *REASONS},
    "source_case": {
        "nothing_since",
        "incomplete",
        "hours_missing",
        "not_registered",
        "renewal_not_recorded",
        "greased",
        "too_little",
        "too_much",
        "apart",
        "loop_apart",
        "unread",
    },
    "rule": {*CASES, *ORDERED_CASES},
    "fact": {*FACTS, "order", "job", "done_on"},
    "limit": {*LIMITS, *EDGES},
    "limit_long": {*LIMITS, *EDGES},
    "limit_kind": set(LIMIT_KINDS),
    "rate_source": set(RATE_SOURCES),
    "bounds_basis": set(BOUNDS_BASES),
    "machine_kind": choices(Feed.MACHINES, "kind"),
    "energy": choices(Feed.ENERGY_SOURCES, "kind"),
    "lube_plan": choices(Feed.STRANDS, "lube_plan"),
    "replayed": slugs(Kind),
    "severity": choices(Feed.INSPECTION_FINDINGS, "severity"),
    "part": {part for parts in PARTS.values() for part in parts},
    "column": {
        field.name
        for feed in Feed
        for field in contract(feed).fields
        if field.name not in ("changed_at", "withdrawn")
    },
}


@pytest.mark.parametrize("kind", REGISTRIES)
def test_every_code_has_a_name_and_every_name_a_code(kind: str) -> None:
    assert slugs(WORDS[kind]) == slugs(REGISTRIES[kind])


def test_every_note_of_a_survey_has_a_name() -> None:
    """A survey set aside bears its reason in place of a note."""
    names = set(WORDS["survey_note"])
    assert {note.value for note in Note if note} <= names <= {*Note, *SetAside}


def test_no_name_is_blank_or_a_code_itself() -> None:
    for kind, names in WORDS.items():
        for code, name in names.items():
            assert name.strip() == name != "", (kind, code)
            assert "_" not in name, (kind, code)


def test_every_subject_of_an_order_to_correct_data_has_a_name() -> None:
    env = environment([TEMPLATES])
    raised_by_rules = [
        (feed, case) for rule, feed in CORRECTED_FEED.items() for case in ASKS_TO_CORRECT[rule]
    ]
    for feed, case in {*data_unjudged._all_subjects(), *raised_by_rules}:
        name = subject_name(env, "source", f"{feed}/{case}")
        assert "_" not in name
        assert name.startswith(WORDS["feed"][feed])
        assert subject_name(env, "source", feed) == WORDS["feed"][feed]


def test_a_code_without_a_name_stops_the_page() -> None:
    word = environment([TEMPLATES]).filters["word"]
    with pytest.raises(OurFault, match=r"the job 'polish' has no name"):
        word("polish", "job")


def test_a_sites_own_words_go_before_ours(tmp_path) -> None:
    (tmp_path / "words.toml").write_text('[job]\nmeasure = "take the tape to the chain"\n', encoding="utf-8")
    word = environment([tmp_path, TEMPLATES]).filters["word"]
    assert word("measure", "job") == "take the tape to the chain"
    assert word("lubricate", "job") == "lubricate the chain"


def test_unreadable_words_of_a_site_are_its_settings_error(tmp_path) -> None:
    (tmp_path / "words.toml").write_text("[job\n", encoding="utf-8")
    with pytest.raises(SettingsError, match=r"words\.toml: this is not readable TOML"):
        environment([tmp_path, TEMPLATES])


def test_a_word_that_changes_between_two_nights_of_one_process_is_the_new_one(tmp_path) -> None:
    """A template that spells a code out has its word compiled in; compiled templates are kept."""
    (tmp_path / "index.html.j2").write_text('{{ "case" | word("limit") }}', encoding="utf-8")
    said = [environment([tmp_path, TEMPLATES]).get_template("index.html.j2").render()]
    (tmp_path / "words.toml").write_text('[limit]\ncase = "our case"\n', encoding="utf-8")
    said.append(environment([tmp_path, TEMPLATES]).get_template("index.html.j2").render())
    assert said == ["hardened case", "our case"]
