"""Codes and facts become sentences: one template file for each reason, rule case, finding, urgency and job.

A sentence is plain text. Pages escape it like any other text; the command line and the CSV files print it.
"""

from __future__ import annotations

import html
import re
from collections.abc import Iterable, Mapping, Sequence
from pathlib import Path
from typing import Any

from jinja2 import Environment, Template, TemplateNotFound, UndefinedError

from takeup.documents.environment import slug
from takeup.errors import OurFault
from takeup.model import Fact

#: Codes come from the program or a site's own rules, never from data; this keeps it so.
CODE = re.compile(r"[a-z][a-z0-9_]*")


def sentence(
    env: Environment, kind: str, code: str, facts: Iterable[Fact] | Mapping[str, Any] = (), *, part: str = ""
) -> str:
    """The sentence of a code, with its facts put in.

    Parameters
    ----------
    env : Environment
        From :func:`takeup.documents.environment.environment`.
    kind : str
        Folder under ``templates/sentences``: refused, waiting, set_aside, rule, finding, urgency...
    code : str
        A rule's code is ``<rule>__<case>``.
    facts : iterable of Fact, or mapping of name to value
    part : str, optional
        Only the block of this name; by default the whole text.

    Returns
    -------
    str
        Plain text, white space collapsed.

    Raises
    ------
    OurFault
        If there is no such sentence, or it needs a fact that is not there.
    """
    name = f"sentences/{kind}/{slug(code)}.txt.j2"
    values = dict(facts) if isinstance(facts, Mapping) else {fact.name: fact for fact in facts}
    try:
        if not CODE.fullmatch(slug(code)):
            raise TemplateNotFound(name)
        template = env.get_template(name)
        text = _block(template, part, values) if part else template.render(values)
    except TemplateNotFound as error:
        raise OurFault(
            f"there is no sentence for the {kind} {str(code)!r}",
            where=f"templates/{name}",
            why="A code of the program would reach a reader bare.",
            todo="A rule of your own brings its sentence in the site's templates folder.",
        ) from error
    except UndefinedError as error:
        raise OurFault(
            f"the sentence of the {kind} {str(code)!r} needs a fact that is not there: {error.message}",
            where=f"templates/{name}",
        ) from error
    return " ".join(html.unescape(text).split())


def _block(template: Template, part: str, values: Mapping[str, Any]) -> str:
    """The text of one block of a template, blank where the template has no such block."""
    if part not in template.blocks:
        return ""
    return "".join(template.blocks[part](template.new_context(dict(values))))


def codes(template_dirs: Sequence[Path], kind: str) -> set[str]:
    """Every code of a kind that has a sentence."""
    found = set()
    for folder in template_dirs:
        root = folder / "sentences" / kind
        found |= {
            path.relative_to(root).as_posix().removesuffix(".txt.j2") for path in root.rglob("*.txt.j2")
        }
    return found
