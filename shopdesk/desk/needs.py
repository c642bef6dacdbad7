"""What needs the owner now, in order: people who wait for a word first, then money and dates, then the
bench."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, field
from datetime import datetime, timedelta

from django.urls import reverse
from django.utils import timezone

from shopdesk.changes.models import Change
from shopdesk.changes.queries import at_hand
from shopdesk.colours.models import Sample
from shopdesk.colours.queries import still_open
from shopdesk.commissions.letters import said_pieces
from shopdesk.commissions.models import Commission, Shot, Stage
from shopdesk.commissions.queries import faces, open_by_stage
from shopdesk.conversation.models import Message
from shopdesk.conversation.queries import excerpt, shop_said_last, unanswered
from shopdesk.deposits.queries import Standing, standings
from shopdesk.look.formats import clock, day, money, since, waiting_since
from shopdesk.quotes.expiry import draft_words, waits_for_follow_up
from shopdesk.quotes.models import Quote
from shopdesk.quotes.queries import OPEN, heads
from shopdesk.shop.models import Shop
from shopdesk.visits.models import Visit
from shopdesk.visits.queries import coming, handed_over_on_a_day

MOST = 30
"""Of one kind on the page; the rest are counted in a line."""

CHOOSE_WITHIN = timedelta(days=3)
"""How long a client has to choose a time before the page mentions it."""

SHOP_FLOOR = (Stage.READY, Stage.DRYING, Stage.IN_WORK, Stage.CHECKED_IN, Stage.BOOKED, Stage.ON_HOLD)


@dataclass(frozen=True)
class Need:
    """One line of the list: whose, what in a sentence, a detail, and the one press that deals with it."""

    commission: Commission
    says: str
    detail: str
    press: str
    address: str
    loud: bool = True
    shot: Shot | None = None


@dataclass
class Today:
    """The front page: what waits for the owner, who comes, and what is in the shop."""

    needs: list[Need] = field(default_factory=list)
    more: int = 0
    visits: list[Visit] = field(default_factory=list)
    in_shop: list[Commission] = field(default_factory=list)
    waiting_for_clients: list[tuple[Commission, str]] = field(default_factory=list)


def _clip(text: str, most: int = 140) -> str:
    text = " ".join(text.split())
    return text if len(text) <= most else text[: most - 1].rstrip() + "…"


def _page(name: str, commission: Commission, *args: object) -> str:
    return reverse(f"desk:{name}", args=[commission.number, *args])


class _Desk:
    """The day's facts, read once, and the lists made from them."""

    def __init__(self, shop: Shop, now: datetime) -> None:
        self.shop = shop
        self.now = now
        self.today = timezone.localtime(now, shop.tz).date()
        self.said = unanswered(MOST + 1)
        at_stage = open_by_stage(2 * MOST)
        self.requests = at_stage[Stage.REQUESTED].shown
        self.unseen = at_stage[Stage.REQUESTED].total - len(self.requests)
        self.colours = still_open()
        self.quoted = at_stage[Stage.QUOTED].shown
        self.agreed = at_stage[Stage.AGREED].shown
        self.shop_floor = [one for stage in SHOP_FLOOR for one in at_stage[stage].shown]
        self.visits = coming(shop, self.today, self.today + timedelta(days=1))
        quotes = heads(self.requests + self.quoted)
        self.quotes: dict[int, Quote] = {one.commission_id: one for one in quotes if one.state in OPEN}
        self.begun = {one.commission_id for one in quotes if one.is_draft}
        self.gone_home = at_stage[Stage.COLLECTED].shown
        self.reopened = [
            one
            for one in self.shop_floor
            if one.booked_at and one.deposit_in_at is None and not one.deposit_let_off
        ]
        owing = self.agreed + self.reopened + self.gone_home
        self.money: dict[int, Standing] = standings(owing, papers=False)
        self.asked = shop_said_last(one.pk for one in self.requests if one.answered_at)
        self.waited = [
            one
            for one in self.shop_floor
            if one.stage in (Stage.BOOKED, Stage.READY) and one.stage_since <= now - CHOOSE_WITHIN
        ]
        self.with_day = handed_over_on_a_day(one.pk for one in self.waited)
        changes = at_hand()
        self.changes = [one for one in changes if one.answered_at]
        self.open_changes: dict[int, Change] = {
            one.commission_id: one for one in changes if not one.answered_at
        }

    def day(self, value: datetime) -> str:
        return day(timezone.localtime(value, self.shop.tz).date(), self.shop.locale, self.today)

    def since(self, value: datetime) -> str:
        return waiting_since(timezone.localtime(value, self.shop.tz).date(), self.today)

    def messages(self) -> Iterable[Need]:
        for message in self.said:
            yield self._message(message)

    def _message(self, message: Message) -> Need:
        commission = message.commission
        waited = f"Written {since(timezone.localtime(message.at, self.shop.tz).date(), self.today)}."
        return Need(
            commission,
            f"writes: “{excerpt(message.text) or '(pictures)'}”",
            waited,
            "Answer",
            _page("answer", commission),
        )

    def clients_to_answer(self, commission: Commission) -> bool:
        """Whether a request waits for the client: the shop asked last, and has begun no quote."""
        return commission.pk in self.asked and commission.pk not in self.begun

    def new_requests(self) -> Iterable[Need]:
        for commission in self.requests:
            if self.clients_to_answer(commission):
                continue
            pieces = list(commission.pieces.all())
            detail = [f"Waiting {self.since(commission.requested_at)}."]
            if commission.hoped_for:
                detail.append(f"Hoped for {day(commission.hoped_for, self.shop.locale, self.today)}.")
            if any(piece.lead_caution for piece in pieces):
                detail.append("May hold lead: test before sanding.")
            asked = said_pieces([piece.name for piece in pieces])
            if commission.answered_at is None:
                press, address = "Look and answer", _page("commission", commission)
            else:
                press, address = "Go on with the quote", _page("commission", commission)
            if commission.pk in self.begun:
                press, address = "Finish the quote", _page("quote", commission)
                detail.insert(0, "A quote is begun.")
            yield Need(
                commission,
                f"asks about {asked}.",
                " ".join(detail),
                press,
                address,
                loud=commission.answered_at is None,
            )

    def samples(self) -> Iterable[Need]:
        for sample in self.colours:
            if sample.state == Sample.State.AGAIN:
                yield self._sample(sample)

    def promised_samples(self) -> Iterable[Need]:
        """Pieces that are here, were promised a sample and have been shown none."""
        for commission in self.shop_floor:
            if (
                commission.stage not in (Stage.CHECKED_IN, Stage.IN_WORK, Stage.DRYING)
                or not commission.sample_promised
                or commission.colour_agreed_at
                or commission.first_coat_at
            ):
                continue
            unseen = [
                piece.name
                for piece in commission.pieces.all()
                if not piece.colour_open and piece.colour_agreed_at is None
            ]
            if unseen:
                yield Need(
                    commission,
                    f"was promised a sample for the {said_pieces(unseen)}.",
                    "None has been shown yet, and the first coat waits for it.",
                    "Propose a sample",
                    _page("sample", commission),
                )

    def _sample(self, sample: Sample) -> Need:
        commission = sample.piece.commission
        return Need(
            commission,
            f"would like another sample for the {sample.piece.name}.",
            f"On {sample.name}: “{_clip(sample.answer)}”",
            "Propose the next",
            _page("sample", commission),
        )

    def answered_changes(self) -> Iterable[Need]:
        """Answers to changes that the owner has not noted yet."""
        for change in self.changes:
            said = change.frozen["price_words"]
            detail = f"{said[:1].upper()}{said[1:]}."
            if change.answer:
                detail += f" “{_clip(change.answer)}”"
            yield Need(
                change.commission,
                f"has {change.get_state_display()} change {change.number}.",
                detail,
                "Look and note",
                _page("change", change.commission, change.number),
            )

    def revisions(self) -> Iterable[Need]:
        for commission in self.quoted:
            quote = self.quotes.get(commission.pk)
            if commission.pk in self.begun:
                yield Need(
                    commission,
                    "waits for a new revision of the quote.",
                    "It is begun.",
                    "Finish the quote",
                    _page("quote", commission),
                )
            elif quote and waits_for_follow_up(quote, commission, self.today):
                yield Need(
                    commission,
                    "has not answered, and the quote has run out.",
                    f"A draft is ready: “{_clip(draft_words(quote, commission, self.shop))}”",
                    "Read and send",
                    _page("still-interested", commission),
                    loud=False,
                )

    def deposits(self) -> Iterable[Need]:
        for commission in self.agreed:
            standing = self.money.get(commission.pk)
            if standing is not None and not standing.deposit_open:
                yield Need(
                    commission,
                    "has paid the deposit.",
                    "The place is not booked yet.",
                    "Book the place",
                    _page("commission", commission) + "#move",
                )
                continue
            if standing is None or standing.deposit_due_on >= self.today:
                continue
            open_ = money(standing.deposit_open, standing.currency, self.shop.locale)
            due = day(standing.deposit_due_on, self.shop.locale, self.today)
            yield Need(
                commission,
                f"has not paid the deposit of {open_}.",
                f"It was due {due}.",
                "Record or remind",
                _page("payment", commission),
            )

    def open_again(self) -> Iterable[Need]:
        """Money that is due after the moment at which it should have been in."""
        for commission in self.reopened + self.gone_home:
            standing = self.money.get(commission.pk)
            if standing is None:
                continue
            home = commission.stage == Stage.COLLECTED
            sum_ = standing.due if home else standing.deposit_open
            if sum_:
                said = money(sum_, standing.currency, self.shop.locale)
                yield Need(
                    commission,
                    f"has the piece, and still owes {said}."
                    if home
                    else f"owes {said} of the deposit again.",
                    "Handed over before it was paid."
                    if home
                    else "A payment was taken back; the place stays booked.",
                    "Record or remind",
                    _page("payment", commission),
                    loud=not home,
                )

    def pickups(self) -> Iterable[Need]:
        """Ready for some days, and nobody has chosen a time."""
        for commission in self.waited:
            if commission.stage == Stage.READY and commission.pk not in self.with_day:
                yield Need(
                    commission,
                    "has not chosen a time to fetch it.",
                    f"Ready since {self.day(commission.stage_since)}.",
                    "Remind them",
                    _page("answer", commission),
                    loud=False,
                )

    def handovers(self) -> Iterable[Need]:
        """Who comes today."""
        for visit in self.visits:
            commission = visit.commission
            local = timezone.localtime(visit.starts_at, self.shop.tz)
            if local.date() != self.today or visit.state != "booked":
                continue
            at = clock(visit.starts_at, self.shop.tz, self.shop.locale)
            if visit.kind == "drop-off" and commission.stage == Stage.BOOKED:
                yield Need(
                    commission,
                    f"brings it at {at}.",
                    "Drop-off today.",
                    "Check it in",
                    _page("check-in", commission),
                )
            elif visit.kind == "site-visit":
                where = ", ".join(commission.client.address_lines)
                yield Need(
                    commission,
                    f"expects you at {at}.",
                    f"Site visit today{f': {where}' if where else ''}.",
                    "Look at the request",
                    _page("commission", commission),
                )
            elif visit.kind == "pickup" and commission.stage == Stage.READY:
                yield Need(
                    commission,
                    f"fetches it at {at}.",
                    "Pickup today.",
                    "Hand over",
                    _page("commission", commission) + "#move",
                )

    def coats(self) -> Iterable[Need]:
        for commission in self.shop_floor:
            if (
                commission.stage in (Stage.IN_WORK, Stage.DRYING)
                and commission.sample_promised
                and commission.colour_agreed_at
                and commission.first_coat_at is None
            ):
                yield Need(
                    commission,
                    "has agreed to the colour.",
                    f"The first coat can go on, since {self.day(commission.colour_agreed_at)}.",
                    "First coat",
                    _page("commission", commission) + "#move",
                    loud=False,
                )

    def clients_turn(self) -> list[tuple[Commission, str]]:
        """What the shop waits for from clients: nothing to do, good to know."""
        rows = []
        for commission in self.requests:
            if self.clients_to_answer(commission):
                rows.append((commission, "has what you asked to answer"))
        for commission in self.quoted:
            quote = self.quotes.get(commission.pk)
            if (
                quote
                and commission.pk not in self.begun
                and not (quote.good_until and quote.good_until < self.today)
            ):
                until = (
                    f", good until {day(quote.good_until, self.shop.locale, self.today)}"
                    if quote.good_until
                    else ""
                )
                rows.append((commission, f"has the quote{until}"))
            elif quote and quote.good_until and quote.followed_up_at and commission.pk not in self.begun:
                until = day(quote.good_until, self.shop.locale, self.today)
                rows.append((commission, f"has let the quote run out, {until}"))
        for commission in self.agreed:
            standing = self.money.get(commission.pk)
            if standing and standing.deposit_open and standing.deposit_due_on >= self.today:
                due = day(standing.deposit_due_on, self.shop.locale, self.today)
                owed = money(standing.deposit_open, standing.currency, self.shop.locale)
                rows.append((commission, f"owes the deposit of {owed}, due {due}"))
        for commission in self.waited:
            if commission.stage == Stage.BOOKED and commission.pk not in self.with_day:
                booked = self.day(commission.stage_since)
                rows.append((commission, f"has not chosen a time to bring it, booked since {booked}"))
        for commission in self.agreed + self.shop_floor:
            change = self.open_changes.get(commission.pk)
            if change:
                rows.append(
                    (commission, f"has change {change.number} to answer, {change.frozen['price_words']}")
                )
        for sample in self.colours:
            if sample.state == Sample.State.PROPOSED:
                asked = f"{sample.name}, the sample for the {sample.piece.name}"
                rows.append((sample.piece.commission, f"has not answered {asked}, yet"))
        return rows


def front_page(shop: Shop, now: datetime) -> Today:
    """The front page's lists, in a fixed number of statements, whatever the number of commissions."""
    desk = _Desk(shop, now)
    kinds = (
        desk.handovers,
        desk.messages,
        desk.new_requests,
        desk.samples,
        desk.promised_samples,
        desk.answered_changes,
        desk.revisions,
        desk.deposits,
        desk.open_again,
        desk.pickups,
        desk.coats,
    )
    listed: list[Need] = []
    more = desk.unseen
    for kind in kinds:
        found = list(kind())
        listed.extend(found[:MOST])
        more += max(0, len(found) - MOST)
    known_by = faces({need.commission.pk for need in listed})
    needs = [Need(**{**need.__dict__, "shot": known_by.get(need.commission.pk)}) for need in listed]
    return Today(
        needs=needs,
        more=more,
        visits=[visit for visit in desk.visits if visit.state == "booked"],
        in_shop=[one for one in desk.shop_floor if one.stage != Stage.BOOKED],
        waiting_for_clients=desk.clients_turn(),
    )
