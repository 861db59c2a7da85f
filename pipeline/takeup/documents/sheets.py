"""What the pages need, as plain data: the night fills these records and the templates read them.

Only text, numbers, dates, tuples and records of the model stand in a sheet, so that a sheet has one canonical
text and a page whose sheet did not change need not be drawn again. A number that is not known is ``None``,
never NaN (:func:`known` turns one into the other). An order's sheet depends on evidence and settings alone:
tonight's number, the clock and the host never enter it.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, field
from datetime import date
from typing import Any

from takeup.audit.answers import OrderAnswer
from takeup.judgement.nextchain import NextChain
from takeup.judgement.register import Lacking, lacking
from takeup.judgement.sprockets import SprocketLine
from takeup.judgement.stops import StopTable
from takeup.model import Accounting, Fact, Job, KeptOut, Order, OrderEvent, Urgency, Verdict


def known(value: float | None) -> float | None:
    """The number, or None for NaN and None.

    Examples
    --------
    >>> known(float("nan")), known(1.5)
    (None, 1.5)
    """
    return None if value is None or math.isnan(value) else float(value)


@dataclass(frozen=True)
class MachineSheet:
    """The machine an order is about, from the machines feed; blank where the feed is silent.

    ``kind`` and ``duty`` hold words of ``schemas/machines.json``: duty is any of corrosive, hot, wet, dusty,
    combustible_dust, confined_space.
    """

    machine: str
    name: str = ""
    kind: str = ""
    area: str = ""
    duty: tuple[str, ...] = ()
    stops_with: tuple[str, ...] = ()


@dataclass(frozen=True)
class EnergySource:
    """One row of the energy_sources feed, as the register gives it."""

    source: str
    kind: str
    magnitude: str = ""
    isolation_point: str = ""
    isolated_how: str = ""
    released_how: str = ""
    verified_how: str = ""
    procedure_number: str = ""
    still_exported: bool = True
    file: str = ""
    line: int = 0


@dataclass(frozen=True)
class ReminderSheet:
    """A lockout reminder for one order: the machine's energy sources, never the procedure."""

    order: str
    machine: MachineSheet
    sources: tuple[EnergySource, ...] = ()

    @property
    def lacking(self) -> tuple[Lacking, ...]:
        """What the register lacks for the lockout of this machine."""
        return lacking(vars(source) | {"exported": source.still_exported} for source in self.sources)


@dataclass(frozen=True)
class SurveyPoint:
    """One survey of one life.

    ``note`` is a survey note of ``derive`` or blank; ``counted`` says whether the survey is fit for a rate,
    ``in_rate`` whether the rate took it, or why not: a code of ``judgement.rates.IN_RATE``.
    """

    on: date
    hours: float
    wear_percent: float
    uncertainty_percent: float
    max_percent: float | None = None
    marks: int = 0
    baseline: str = ""
    note: str = ""
    counted: bool = True
    in_rate: str = "taken"


@dataclass(frozen=True)
class LimitLine:
    """One limit of one strand, as elongation from the zero of its surveys.

    ``percent`` None means not judged, ``missing`` names the register columns wanted for it. ``name`` is the
    limit's code: sprocket, fixed, conveyor, override, takeup, case, chrome, pin or bushing.
    """

    name: str
    percent: float | None
    governing: bool = False
    is_default: bool = False
    origin: str = ""
    missing: tuple[str, ...] = ()


@dataclass(frozen=True)
class GaugedLimit:
    """One limit of one strand that no elongation tells, as the latest inspection gauged it.

    ``name`` is ``sidebar`` (all values per cent of the net section) or ``clearance`` (in mm; no plan line).
    ``now`` None means not judged: ``gauged_on`` None that nobody gauged, ``missing`` which register columns
    are wanted.
    """

    name: str
    unit: str
    now: float | None
    limit: float | None
    plan: float | None = None
    gauged_on: date | None = None
    missing: tuple[str, ...] = ()


@dataclass(frozen=True)
class Forecast:
    """When the governing limit comes. Hours are life hours of the strand; ``late`` None means open.

    ``rate_source`` and ``basis`` are codes of ``judgement.cases``; ``bend`` is the (life hours, percent)
    point on the middle path where the hardened case is worn through. ``fleet_*`` name the numbered table of
    past forecasts that gave the bounds, where one did.
    """

    limit: str
    level_percent: float
    rate_percent_per_1000h: float
    rate_source: str
    from_hours: float
    from_percent: float
    hours_early: float
    hours_middle: float
    hours_late: float | None
    on_early: date | None = None
    on_middle: date | None = None
    on_late: date | None = None
    bend: tuple[float, float] | None = None
    basis: str = ""
    fleet_number: int | None = None
    fleet_forecasts: int | None = None
    fleet_lent: int | None = None
    fleet_lives: int | None = None
    factor_low: float | None = None
    factor_high: float | None = None


@dataclass(frozen=True)
class StrandSeries:
    """One strand of an order: surveys, limits and forecast, drawn as a chart and listed beside it.

    ``settings`` are those they were reckoned with, each named ``section.field``.
    ``unmeasured`` is the case of the rule *survey overdue* by which the latest survey cannot be built on,
    blank where it can; ``next_survey_hours`` are life hours, ``interval_hours`` lie between the two surveys.
    """

    strand: str
    set: str = ""
    side: str = ""
    registered: bool = True
    pitch_mm: float | None = None
    pitches: float | None = None
    fitted_on: date | None = None
    hours_now: float | None = None
    hours_as_of: date | None = None
    plan_percent: float | None = None
    surveys: tuple[SurveyPoint, ...] = ()
    limits: tuple[LimitLine, ...] = ()
    gauged: tuple[GaugedLimit, ...] = ()
    forecast: Forecast | None = None
    next_survey_on: date | None = None
    settings: tuple[Fact, ...] = ()
    next_survey_hours: float | None = None
    interval_hours: float | None = None
    unmeasured: str = ""


@dataclass(frozen=True)
class Duration:
    """The hours of a stop that a job is planned by, with the sum they come from.

    ``stated`` says that the register gives them; else they are ``base`` and ``each`` for ``count`` metres,
    marks or sprockets, and ``origins`` say whose values those are. ``metres`` holds (strand, its loop).
    """

    hours: float
    stated: bool = False
    base: float = 0.0
    each: float = 0.0
    count: float = 0.0
    origins: tuple[str, ...] = ()
    is_default: bool = False
    metres: tuple[tuple[str, float], ...] = ()


@dataclass(frozen=True)
class OverrideLine:
    """One value a site put in place of a default; ``says`` is the setting's own sentence."""

    name: str
    says: str
    value: float | int | str | bool
    unit: str
    applies_to: str
    reason: str
    by: str
    on: date
    review_by: date
    origin: str


@dataclass(frozen=True)
class EvidenceLine:
    """Where one row behind an order stands: feed, file and line; and the part it plays."""

    row_id: int
    feed: str
    file: str
    line: int
    sha256: str = ""
    part: str = "other"


@dataclass(frozen=True)
class OtherOrder:
    """All that an order's page says of another order; nothing else of that one draws the page again."""

    number: str
    job: Job
    urgency: Urgency
    need_by: date | None

    @classmethod
    def of(cls, order: Order) -> OtherOrder:
        """What is said of an order."""
        return cls(order.number, order.job, order.urgency, order.need_by)


@dataclass(frozen=True)
class OrderSheet:
    """Everything one work order prints.

    ``visit`` are the other open orders of the same visit in the order of work, ``takes_in`` the smaller
    orders that are part of this one, ``evidence`` the origins of the row ids in the order's reasons,
    ``reminder`` None only for a job that touches no machine, ``stop_costs`` and ``next_chain``
    only for a set to be replaced, ``sprockets`` also for work on them. ``measured_by`` are the numbers of
    open orders that ask for a survey of its strands; ``past`` says that its need-by is over,
    ``early_past`` is the early date of a limit of function or strength, with no survey since.
    ``answered`` says that a page beside it tells why it stands.
    ``waits_for`` are the investigations that hold it, ``holds`` the orders it holds, and ``same_chain`` the
    other open orders for its strands, that it does not name otherwise.
    """

    order: Order
    machine: MachineSheet
    series: tuple[StrandSeries, ...] = ()
    visit: tuple[OtherOrder, ...] = ()
    takes_in: tuple[OtherOrder, ...] = ()
    overrides: tuple[OverrideLine, ...] = ()
    evidence: tuple[EvidenceLine, ...] = ()
    reminder: ReminderSheet | None = None
    duration: Duration | None = None
    shutdown_from: str = ""
    shutdown_to: str = ""
    stop_costs: StopTable | None = None
    next_chain: NextChain | None = None
    sprockets: tuple[SprocketLine, ...] = ()
    measured_by: tuple[str, ...] = ()
    past: bool = False
    waits_for: tuple[str, ...] = ()
    holds: tuple[OtherOrder, ...] = ()
    same_chain: tuple[OtherOrder, ...] = ()
    early_past: date | None = None
    answered: bool = False


@dataclass(frozen=True)
class ChangeLine:
    """One change of one order this night, with enough of the order to name it though it may have ended."""

    event: OrderEvent
    job: Job
    subject_kind: str
    subject: str
    machine: str
    urgency: Urgency


@dataclass(frozen=True)
class StaleFeed:
    """A feed that is silent for longer than usual; ``last_as_of`` None means never delivered."""

    feed: str
    last_night: int | None
    last_as_of: date | None
    newest_row_on: date | None
    usual_days: float


@dataclass(frozen=True)
class RefusedFile:
    """A file of which nothing was used; ``reason`` is a code of ``store.reasons.FileRefusal``."""

    file: str
    feed: str
    reason: str
    found: str = ""
    wanted: str = ""


@dataclass(frozen=True)
class ClosedKey:
    """A key that a whole export no longer holds."""

    feed: str
    key: str
    file: str


@dataclass(frozen=True)
class CalibrationCell:
    """How past forecasts of one stage of life came out: the record that the bounds rest on.

    ``own`` and ``stage`` are those of a cell of :mod:`takeup.wear.calibration`.
    """

    own: bool
    stage: int
    forecasts: int
    lent: int
    lives: int
    factor_low: float
    factor_high: float


@dataclass(frozen=True)
class CalibrationRecord:
    """The numbered table of past forecasts in force; ``shipped`` when the fleet is too young for its own."""

    number: int
    renewed_on: date | None
    lives: int
    shipped: bool
    cells: tuple[CalibrationCell, ...] = ()


@dataclass(frozen=True)
class NightSheet:
    """The index page and the queue's files of one night.

    ``orders`` are the open orders, most urgent first, ``answers`` say why each stands; ``unjudged`` the
    verdicts that answer *cannot judge*; ``unread_stops`` the rows kept out of the findings feed that hold a
    stop-class word; ``document`` what ``takeup.orders.export.document`` made, written as orders.json.
    """

    site: str
    number: int
    as_of: date
    previous_as_of: date | None = None
    orders: tuple[OrderSheet, ...] = ()
    answers: tuple[OrderAnswer, ...] = ()
    changes: tuple[ChangeLine, ...] = ()
    unread_stops: tuple[KeptOut, ...] = ()
    unjudged: tuple[Verdict, ...] = ()
    kept_out: tuple[KeptOut, ...] = ()
    accounting: tuple[Accounting, ...] = ()
    open_ended: tuple[str, ...] = ()
    refused_files: tuple[RefusedFile, ...] = ()
    closed_keys: tuple[ClosedKey, ...] = ()
    stale_feeds: tuple[StaleFeed, ...] = ()
    calibration: CalibrationRecord | None = None
    document: dict[str, Any] = field(default_factory=dict)
    versions: tuple[tuple[str, str], ...] = ()
