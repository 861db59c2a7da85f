"""The pages that answer why: one of an order, in the queue and for whoever asks, and one of a strand."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date
from pathlib import Path
from typing import TYPE_CHECKING

from takeup.audit.answers import OrderAnswer, StrandAnswer
from takeup.documents.environment import environment, own_templates
from takeup.documents.why import order_words, strand_words

if TYPE_CHECKING:
    from jinja2 import Environment


def why_page(
    env: Environment,
    answer: OrderAnswer,
    *,
    in_queue: bool = True,
    known_by: tuple[int, date] | None = None,
) -> str:
    """Why an order stands, as an HTML page.

    Parameters
    ----------
    env : Environment
    answer : OrderAnswer
    in_queue : bool
        Whether the order's page and the index stand beside it, to be linked.
    known_by : (int, date), optional
        The night by which it was known so, and the day it told; a page in the queue leaves it out, so that it
        need not be drawn again every night.
    """
    words = order_words(env, answer)
    return env.get_template("why.html.j2").render(**words, in_queue=in_queue, known_by=known_by)


def order_page_alone(answer: OrderAnswer, known_by: tuple[int, date], template_dirs: Sequence[Path]) -> str:
    """Why an order stands, as a page that stands by itself.

    Raises
    ------
    SettingsError
        If a template of the site's own cannot be drawn.
    """
    with own_templates(template_dirs):
        return why_page(environment(template_dirs), answer, in_queue=False, known_by=known_by)


def strand_page_alone(answer: StrandAnswer, template_dirs: Sequence[Path]) -> str:
    """What every rule says of a strand, as a page that stands by itself.

    Raises
    ------
    SettingsError
        If a template of the site's own cannot be drawn.
    """
    with own_templates(template_dirs):
        env = environment(template_dirs)
        return env.get_template("strand.html.j2").render(**strand_words(env, answer))
