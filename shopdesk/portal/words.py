"""The client's page in words: where things stand, and what is needed from them."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, datetime, timedelta

from django.urls import reverse
from django.utils import timezone

from shopdesk.ballpark.models import Ballpark
from shopdesk.changes.models import Change
from shopdesk.colours.models import Sample
from shopdesk.commissions.letters import said_pieces
from shopdesk.commissions.models import Commission, Stage
from shopdesk.commissions.stages import ENDS
from shopdesk.conversation.models import Message
from shopdesk.deposits.models import Invoice
from shopdesk.deposits.queries import Standing
from shopdesk.intake.queries import answer_by
from shopdesk.look.formats import clock, day, moment, money, short_day, weekday
from shopdesk.quotes.models import Quote
from shopdesk.shop.models import Shop
from shopdesk.shop.queries import today_at
from shopdesk.visits.models import Visit


@dataclass(frozen=True)
class Facts:
    """What the page knows of one commission."""

    shop: Shop
    commission: Commission
    quotes: Sequence[Quote]
    quote: Quote | None
    standing: Standing | None
    samples: Sequence[Sample]
    visits: Sequence[Visit]
    messages: Sequence[Message]
    changes: Sequence[Change]
    invoices: Sequence[Invoice]
    ballpark: Ballpark | None = None
    site_visit_offered: bool = False

    def booked(self, kind: str) -> Visit | None:
        return next((visit for visit in self.visits if visit.kind == kind and visit.state == "booked"), None)

    @property
    def ended(self) -> bool:
        return self.commission.stage in ENDS

    @property
    def open_samples(self) -> list[Sample]:
        """The samples that wait for an answer: none once the commission has ended."""
        return [] if self.ended else [sample for sample in self.samples if sample.state == "proposed"]

    @property
    def today(self) -> date:
        return today_at(self.shop)

    def day(self, value: date | datetime) -> str:
        on = timezone.localtime(value, self.shop.tz).date() if isinstance(value, datetime) else value
        return day(on, self.shop.locale, self.today)

    def short(self, value: date | datetime) -> str:
        on = timezone.localtime(value, self.shop.tz).date() if isinstance(value, datetime) else value
        return short_day(on, self.shop.locale, self.today)

    def soon(self, value: date) -> str:
        """A day within the week by its name, a later one by its date."""
        if timedelta() <= value - self.today < timedelta(days=7):
            return weekday(value, self.shop.locale, self.today)
        return day(value, self.shop.locale, self.today)

    @property
    def expired(self) -> bool:
        until = self.quote.good_until if self.quote else None
        return until is not None and until < self.today


@dataclass(frozen=True)
class Ask:
    """One thing that is needed from the client, and where they do it."""

    head: str
    words: str
    press: str
    address: str


@dataclass(frozen=True)
class Told:
    """`say` is the one sentence; `then` what happens next and by when."""

    say: str
    then: str
    asks: tuple[Ask, ...]


@dataclass(frozen=True)
class Step:
    """A line of the printed list: its name, what stands at its end, and whether it is done, now or later."""

    name: str
    when: str
    state: str


def tell(facts: Facts) -> Told:
    """Where things stand, in words for the client."""
    say, then = _where(facts)
    return Told(say, then, tuple(_asks(facts)))


def _pieces(facts: Facts) -> tuple[str, str]:
    """ "Your desk and armchair" and the verb that goes with it."""
    pieces = list(facts.commission.pieces.all())
    many = len(pieces) > 1 or any(piece.count > 1 for piece in pieces)
    return f"Your {said_pieces([piece.name for piece in pieces])}", "are" if many else "is"


def _where(facts: Facts) -> tuple[str, str]:
    commission, shop, standing = facts.commission, facts.shop, facts.standing
    your, are = _pieces(facts)
    ready = f"Ready about {facts.day(commission.ready_on)}." if commission.ready_on else ""
    match commission.stage:
        case Stage.REQUESTED:
            if facts.ballpark:
                return (
                    f"A first idea of the price: {facts.ballpark.span}.",
                    "Subject to seeing it. It binds neither of us; the quote follows.",
                )
            if commission.answered_at:
                return "We are talking about your request.", "The quote follows once we know enough."
            by = answer_by(shop, timezone.localtime(commission.requested_at, shop.tz).date())
            promise = (
                f"You will have our answer by {facts.soon(by)}."
                if by >= facts.today
                else "Our answer is late, and we are sorry. It is on its way."
            )
            return "We have your request.", promise
        case Stage.QUOTED if facts.quote and facts.expired:
            return (
                f"Our quote was good until {facts.day(facts.quote.good_until or facts.today)}.",
                "Write to us if you would still like the work done.",
            )
        case Stage.QUOTED:
            until = facts.quote.good_until if facts.quote else None
            return "Your quote is here.", f"It is good until {facts.day(until)}." if until else ""
        case Stage.AGREED if standing:
            sum_ = money(standing.deposit_open, standing.currency, shop.locale)
            due = standing.deposit_due_on
            was = "which was due" if due < facts.today else "due"
            return (
                f"Waiting for your deposit of {sum_}, {was} {facts.soon(due)}.",
                "It books your place in the queue, and is part of the price.",
            )
        case Stage.BOOKED:
            if visit := facts.booked("drop-off"):
                return (
                    f"We expect you on {_time(facts, visit)}.",
                    f"Bring it to {', '.join(shop.address_lines)}.",
                )
            start = f"Work can start {facts.day(commission.starts_on)}." if commission.starts_on else ""
            return "Your place is booked.", start
        case Stage.CHECKED_IN:
            return f"{your} {are} here and {'wait' if are == 'are' else 'waits'} for the bench.", ready
        case Stage.IN_WORK:
            if facts.open_samples:
                return (
                    f"{your} {are} on the bench and {'wait' if are == 'are' else 'waits'} for the colour.",
                    ready,
                )
            return f"{your} {are} on the bench.", ready
        case Stage.DRYING:
            return (
                f"{your} {are} drying.",
                ready or "Most of the days in a job are waiting for something to dry.",
            )
        case Stage.READY:
            if visit := facts.booked("pickup"):
                return (
                    f"Ready. We hand it over on {_time(facts, visit)}.",
                    f"At {', '.join(shop.address_lines)}.",
                )
            return f"{your} {are} ready.", "Dry enough to move and use gently."
        case Stage.COLLECTED:
            on = f" since {facts.day(commission.collected_at)}" if commission.collected_at else ""
            return (
                f"{your} {are} home{on}.",
                "The finish goes on curing for some weeks: nothing heavy on top, no cleaners.",
            )
        case Stage.ON_HOLD:
            return "The work is on hold.", "We will tell you when it goes on."
        case Stage.DECLINED:
            return "We could not take this one on.", ""
        case Stage.WITHDRAWN:
            return "You have withdrawn this request.", "Write to us if you think of it again."
        case Stage.CANCELLED:
            return "This commission has been cancelled.", ""
    return commission.get_stage_display() + ".", ""


def _time(facts: Facts, visit: Visit) -> str:
    when = moment(visit.starts_at, facts.shop.tz, facts.shop.locale, facts.today)
    return f"{when}–{clock(visit.ends_at, facts.shop.tz, facts.shop.locale)}"


def _asks(facts: Facts) -> list[Ask]:
    commission, shop = facts.commission, facts.shop
    number = commission.number
    asks = []
    if facts.messages and not facts.messages[-1].by_client and commission.stage == Stage.REQUESTED:
        asks.append(
            Ask("We asked you something.", "", "Read it and answer", reverse("portal:ask", args=[number]))
        )
    if (
        facts.site_visit_offered
        and commission.stage in (Stage.REQUESTED, Stage.QUOTED)
        and not facts.booked("site-visit")
    ):
        asks.append(
            Ask(
                "May we come and look?",
                "It takes little time, and binds nobody.",
                "Choose a time",
                reverse("portal:visit", args=[number, "site-visit"]),
            )
        )
    if commission.stage == Stage.QUOTED and facts.quote and not facts.expired:
        asks.append(
            Ask(
                "We need your answer.",
                "Take your time over it, and ask whatever is not clear.",
                "Read the quote",
                reverse("portal:quote", args=[number]),
            )
        )
    if commission.booked_at and not facts.ended and facts.standing and facts.standing.deposit_open:
        open_ = money(facts.standing.deposit_open, facts.standing.currency, shop.locale)
        asks.append(
            Ask(
                f"{open_} of the deposit is open again.",
                "Your place stays booked.",
                "Look at the account",
                f"{reverse('portal:commission', args=[number])}#costs",
            )
        )
    if not facts.ended:
        asks.extend(
            Ask(
                "We found something, and need your answer.",
                f"{change.frozen['price_words'][:1].upper()}{change.frozen['price_words'][1:]}.",
                "Look at it",
                reverse("portal:change", args=[number, change.number]),
            )
            for change in facts.changes
            if change.is_open
        )
        asks.extend(
            Ask(
                "We need one answer from you.",
                f"Is this the colour for the {sample.piece.name}: {sample.name}?",
                "Look at the sample",
                reverse("portal:sample-answer", args=[number, sample.pk]),
            )
            for sample in facts.open_samples
        )
    if commission.stage == Stage.BOOKED and not facts.booked("drop-off"):
        asks.append(
            Ask(
                "When will you bring it?",
                "Choose a time that suits you.",
                "Choose a time",
                reverse("portal:visit", args=[number, "drop-off"]),
            )
        )
    if commission.stage == Stage.READY and not facts.booked("pickup"):
        due = facts.standing.due if facts.standing else None
        words = (
            f"{money(due, facts.standing.currency, shop.locale)} is due at hand-over."
            if facts.standing and due
            else ""
        )
        asks.append(
            Ask(
                "When will you fetch it?",
                words,
                "Choose a time",
                reverse("portal:visit", args=[number, "pickup"]),
            )
        )
    return asks


_ORDER = [
    Stage.REQUESTED,
    Stage.QUOTED,
    Stage.AGREED,
    Stage.BOOKED,
    Stage.CHECKED_IN,
    Stage.IN_WORK,
    Stage.DRYING,
    Stage.READY,
    Stage.COLLECTED,
]


def steps(facts: Facts) -> list[Step]:
    """The printed list of steps: done ones with their day, the present one, and those to come with the days
    that were agreed."""
    commission, standing, shop = facts.commission, facts.standing, facts.shop
    here = commission.held_from or commission.stage
    stopped = commission.stage in (Stage.DECLINED, Stage.WITHDRAWN, Stage.CANCELLED)
    rank = _ORDER.index(Stage(here)) if here in _ORDER else -1
    deposit = "Deposit"
    if standing and standing.deposit:
        deposit += f", {money(standing.deposit, standing.currency, shop.locale)}"
    if commission.deposit_let_off or (standing and not standing.deposit):
        deposit = "Place booked"
    first_coat = f"since {facts.short(commission.work_began_at)}" if commission.work_began_at else ""
    lines: list[tuple[str, date | datetime | None, str, Stage]] = [
        ("Request received", commission.requested_at, "", Stage.REQUESTED),
        ("Quote sent", commission.quoted_at, "", Stage.QUOTED),
        ("Quote accepted", commission.agreed_at, "", Stage.AGREED),
        (deposit, commission.deposit_in_at or commission.booked_at, _due(facts), Stage.BOOKED),
        ("Checked in", commission.checked_in_on, _about(facts, commission.starts_on), Stage.CHECKED_IN),
        ("On the bench", None, first_coat, Stage.IN_WORK),
        ("Drying", None, "", Stage.DRYING),
        ("Ready to collect", commission.ready_at, _about(facts, commission.ready_on), Stage.READY),
        ("Collected", commission.collected_at, "", Stage.COLLECTED),
    ]
    printed = []
    for name, at, otherwise, stage in lines:
        place = _ORDER.index(stage)
        if place < rank or at is not None or (place == rank and stage == Stage.COLLECTED):
            state = "done"
        else:
            state = "later"
        if place == rank and stage in (Stage.IN_WORK, Stage.DRYING):
            state = "now"
        if stopped and state != "done":
            continue
        when = facts.short(at) if at is not None else otherwise
        if state == "now" and stage == Stage.DRYING:
            when = f"since {facts.short(commission.stage_since)}"
        if state == "done" and at is None:
            when = (
                f"from {facts.short(commission.work_began_at)}"
                if stage == Stage.IN_WORK and commission.work_began_at
                else ""
            )
        printed.append(Step(name, when, state))
    if (
        not stopped
        and commission.stage != Stage.COLLECTED
        and not any(step.state == "now" for step in printed)
    ):
        later = next(place for place, step in enumerate(printed) if step.state == "later")
        printed[later] = Step(printed[later].name, printed[later].when, "now")
    if stopped:
        printed.append(
            Step(
                commission.get_stage_display(),
                facts.short(commission.ended_at or commission.stage_since),
                "done",
            )
        )
    return printed


def _about(facts: Facts, on: date | None) -> str:
    return f"about {facts.short(on)}" if on else ""


def _due(facts: Facts) -> str:
    return (
        f"due {facts.short(facts.standing.deposit_due_on)}"
        if facts.standing and facts.commission.stage == Stage.AGREED
        else ""
    )
