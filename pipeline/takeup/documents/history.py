"""The chart of a strand's whole history: every life, survey and mark, limits, trend, and what happened when.

Two panels on one axis of time. Above, elongation: surveys with their uncertainty, single marks as dashes, the
limits and the trend with its bounds. Below, what happened: shortenings, lubrication, findings, orders. Black,
grey and dashes only, as :mod:`takeup.documents.charts`, which draws the chart over run hours.
"""

from __future__ import annotations

import io
from collections.abc import Callable, Sequence
from datetime import date
from html import escape
from typing import TYPE_CHECKING, Any

from takeup.documents.charts import DRAWN_WITH, GREY, INK, drawn_limits, inside
from takeup.documents.evidence import StrandEvidence
from takeup.documents.filters import number
from takeup.documents.sheets import StrandSeries

if TYPE_CHECKING:
    from matplotlib.axes import Axes

#: width and height in points; elongation above what happened, by their heights
SIZE = (620.0, 330.0)
HEIGHTS = (3.2, 1.0)
#: what happened, one row each, from above
ROWS = {"shortening": "shortenings", "lubrication": "lubrication", "finding": "findings", "order": "orders"}
SMALL = 8.0
EPOCH = date(1970, 1, 1)


def history(evidence: StrandEvidence, title: str, description: str, limit_name: Callable[[str], str]) -> str:
    """The chart as an SVG element to stand in a page.

    Parameters
    ----------
    evidence : StrandEvidence
        With one life or more.
    title, description : str
        What a screen reader says in place of the picture.
    limit_name : callable
        Code of a limit to the words beside its line.
    """
    from matplotlib import rc_context
    from matplotlib.backends.backend_svg import FigureCanvasSVG
    from matplotlib.dates import AutoDateLocator, ConciseDateFormatter
    from matplotlib.figure import Figure

    style = {**DRAWN_WITH, "svg.hashsalt": "takeup history", "font.size": SMALL, "axes.linewidth": 0.6}
    with rc_context(style):
        figure = Figure(figsize=(SIZE[0] / 72, SIZE[1] / 72))
        figure.patch.set_visible(False)
        above, below = figure.subplots(2, 1, sharex=True, height_ratios=HEIGHTS)
        figure.subplots_adjust(left=0.1, right=0.8, bottom=0.09, top=0.97, hspace=0.06)
        _elongation(above, evidence, limit_name)
        _happened(below, evidence)
        first, last = _ends(evidence)
        below.set_xlim(first, last)
        locator = AutoDateLocator(minticks=4, maxticks=9)  # type: ignore[no-untyped-call]
        below.xaxis.set_major_locator(locator)
        below.xaxis.set_major_formatter(ConciseDateFormatter(locator))  # type: ignore[no-untyped-call]
        file = io.StringIO()
        nothing = dict.fromkeys(("Creator", "Date", "Format", "Type"))
        FigureCanvasSVG(figure).print_svg(file, metadata=nothing)  # type: ignore[no-untyped-call]
    return (
        f'<svg class="chart" viewBox="0 0 {SIZE[0]:g} {SIZE[1]:g}" role="img" '
        'aria-labelledby="history-title history-what" xmlns="http://www.w3.org/2000/svg" '
        'xmlns:xlink="http://www.w3.org/1999/xlink">\n'
        f'<title id="history-title">{escape(title)}</title>\n'
        f'<desc id="history-what">{escape(description)}</desc>\n'
        f"{inside(file.getvalue())}\n</svg>"
    )


def _elongation(axes: Axes, evidence: StrandEvidence, limit_name: Callable[[str], str]) -> None:
    for life in evidence.lives:
        axes.axvline(_x(life.fitted_on), color=GREY, linewidth=0.6, linestyle=(0, (1, 2)))
    # One call a kind: every artist of its own would cost more than all the rest of the chart.
    dash: dict[str, Any] = {"marker": "_", "markersize": 4, "markeredgewidth": 0.6, "linestyle": "none"}
    for stands, colour in ((True, INK), (False, GREY)):
        marks = [
            (_x(survey.on), mark.percent)
            for survey in evidence.surveys
            for mark in survey.marks
            if mark.percent is not None and mark.stands is stands
        ]
        axes.plot(*_columns(marks, 2), color=colour, **dash)
    for fit, filling in ((True, INK), (False, "white")):
        x, percent, uncertainty = _columns(
            [
                (_x(survey.on), survey.percent, survey.uncertainty_percent or 0.0)
                for survey in evidence.surveys
                if survey.percent is not None and (survey.for_rate and survey.usable) is fit
            ],
            3,
        )
        axes.errorbar(
            x,
            percent,
            yerr=uncertainty,
            fmt="o",
            color=INK,
            linewidth=0,
            elinewidth=0.7,
            capsize=2,
            markersize=3.5,
            markeredgewidth=0.8,
            markerfacecolor=filling,
        )
    if evidence.series is not None and evidence.series.surveys:
        _limits(axes, evidence, evidence.series, limit_name)
    axes.set_ylabel("elongation (%)")
    axes.spines[["top", "right"]].set_visible(False)
    axes.tick_params(axis="x", length=0, labelbottom=False)


def _limits(
    axes: Axes, evidence: StrandEvidence, series: StrandSeries, limit_name: Callable[[str], str]
) -> None:
    """The limits and the trend of the chain that runs, from the day it was fitted."""
    last = _ends(evidence)[1]
    since = _x(series.fitted_on or evidence.lives[-1].fitted_on)
    named: list[tuple[float, str]] = []
    for line in drawn_limits(series):
        level = line.percent or 0.0
        style: dict[str, Any] = {"color": GREY, "linewidth": 0.7, "linestyle": (0, (6, 3))}
        if line.governing:
            style = {"color": INK, "linewidth": 1.0}
        axes.hlines(level, since, last, **style)
        named.append((level, f"{limit_name(line.name)} {number(level, 2)} %"))
    if series.plan_percent is not None:
        axes.hlines(series.plan_percent, since, last, color=GREY, linewidth=0.7, linestyle=(0, (1.5, 1.5)))
        named.append((series.plan_percent, f"plan line {number(series.plan_percent, 2)} %"))
    ahead, newest = series.forecast, series.surveys[-1]
    if ahead is not None and ahead.on_middle is not None and ahead.hours_middle > 0:
        level = ahead.level_percent
        ends = [_x(newest.on), _x(ahead.on_middle)]
        axes.plot(ends, [ahead.from_percent, level], color=INK, linewidth=1.0, linestyle=(0, (5, 2)))
        if ahead.on_early is not None:
            late = _x(ahead.on_late) if ahead.on_late is not None else last
            axes.plot([_x(ahead.on_early), late], [level, level], color=INK, linewidth=2.4)
        for day in (ahead.on_early, ahead.on_middle, ahead.on_late):
            if day is not None:
                axes.plot([_x(day)], [level], marker="|", markersize=7, color=INK)
    _name_levels(axes, named)


def _name_levels(axes: Axes, named: list[tuple[float, str]]) -> None:
    """The names beside the levels, moved apart where they would cover one another."""
    axes.margins(y=0.12)
    axes.autoscale_view()
    low, high = axes.get_ylim()
    gap, before = 1 / 17, -1.0
    for level, name in sorted(named):
        before = max((level - low) / (high - low), before + gap)
        axes.text(1.02, before, name, transform=axes.transAxes, va="center", color=INK)
    axes.set_ylim(low, high)


def _happened(axes: Axes, evidence: StrandEvidence) -> None:
    for place, kind in enumerate(ROWS):
        mine = [event for event in evidence.events if event.kind == kind]
        days = [_x(event.on) for event in mine]
        axes.plot(days, [-place] * len(days), marker="|", markersize=7, color=INK, linestyle="none")
        if kind == "order":
            for event in mine:
                ends = [_x(event.on), _x(event.until or evidence.as_of)]
                axes.plot(ends, [-place, -place], color=INK, linewidth=2.4)
    axes.set_yticks([-place for place in range(len(ROWS))], list(ROWS.values()))
    axes.set_ylim(-len(ROWS) + 0.4, 0.6)
    axes.spines[["top", "right"]].set_visible(False)
    axes.tick_params(axis="y", length=0)


def _columns(rows: Sequence[tuple[float, ...]], count: int) -> list[list[float]]:
    """Rows as so many columns, empty ones where there is no row."""
    return [[row[place] for row in rows] for place in range(count)]


def _ends(evidence: StrandEvidence) -> tuple[float, float]:
    """The ends of the axis: the trend is followed at most half as far as the past goes back."""
    first = min((life.fitted_on for life in evidence.lives), default=evidence.as_of)
    ahead = evidence.series.forecast if evidence.series is not None else None
    days = [day for day in (ahead.on_middle, ahead.on_late) if day is not None] if ahead else []
    room = max((_x(evidence.as_of) - _x(first)) / 2, 30.0)
    last = min(max(map(_x, [evidence.as_of, *days])), _x(evidence.as_of) + room)
    return _x(first) - 7, last + 14


def _x(day: date) -> float:
    """Where a day lies: days since 1970-01-01, as matplotlib counts them."""
    return float((day - EPOCH).days)
