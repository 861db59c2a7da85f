"""The options for the next chain and the evidence still wanted, in words."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from takeup.documents.sentences import sentence
from takeup.judgement.nextchain import NextChain, OptionAnswer

if TYPE_CHECKING:
    from jinja2 import Environment


@dataclass(frozen=True)
class OptionLine:
    """One option of the table: what it cures, what it does not, what it costs, what is still wanting."""

    answer: OptionAnswer
    name: str
    cures: str
    leaves: str
    trade: str
    wanting: tuple[str, ...]


def option_lines(env: Environment, told: NextChain | None) -> list[OptionLine]:
    """Every option that acts on what governs."""
    if told is None:
        return []
    return [
        OptionLine(
            answer=answer,
            name=env.filters["word"](answer.name, "option"),
            cures=sentence(env, "option", answer.name, part="cures"),
            leaves=sentence(env, "option", answer.name, part="leaves"),
            trade=sentence(env, "option", answer.name, part="trade"),
            wanting=tuple(
                says
                for code in answer.missing
                if code not in told.missing and (says := sentence(env, "evidence", code, part="option"))
            ),
        )
        for answer in told.answers
    ]


def evidence_lines(env: Environment, told: NextChain | None) -> list[str]:
    """The evidence wanting whatever the option, one sentence each."""
    if told is None:
        return []
    facts = {"faults": env.filters["words"](told.faults, "rule")}
    return [sentence(env, "evidence", code, facts, part="common") for code in told.missing]
