"""A shop with commissions at every stage. The first twenty are brought there through the apps' own actions;
more are copies of those, row by row, because thousands through actions would take minutes."""

from __future__ import annotations

import io
from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime, time, timedelta
from decimal import Decimal
from typing import Any
from uuid import uuid4

from django.apps import apps
from django.conf import settings
from django.db import models, transaction
from django.utils import timezone

from shopdesk.ballpark import actions as ballpark
from shopdesk.base import files
from shopdesk.base.models import Work
from shopdesk.base.sweep import beat
from shopdesk.base.who import Who
from shopdesk.bench import actions as bench
from shopdesk.changes import actions as changes
from shopdesk.clients.actions import know_client
from shopdesk.colours import actions as colours
from shopdesk.commissions.actions import NewCommission, NewPiece, Wish, open_commission
from shopdesk.commissions.models import Commission, Stage
from shopdesk.conversation import actions as conversation
from shopdesk.conversation.models import QuickAnswer
from shopdesk.deposits import actions as deposits
from shopdesk.deposits import invoices
from shopdesk.deposits.models import Account
from shopdesk.deposits.queries import standing
from shopdesk.documents.models import Document
from shopdesk.mail.models import Email
from shopdesk.photos.actions import prepare_all, take_in
from shopdesk.photos.models import Picture
from shopdesk.pricebook import actions as prices
from shopdesk.pricebook.models import Sheet
from shopdesk.pricebook.queries import schedules, snapshot
from shopdesk.pricebook.typed import RatesFacts
from shopdesk.progress import actions as progress
from shopdesk.quotes import actions as quotes
from shopdesk.quotes.models import Quote
from shopdesk.quotes.typed import TypedEstimate, TypedLine, TypedOption, TypedPiece, TypedQuote
from shopdesk.running.measures.pictures import phone_photo
from shopdesk.shop.models import OpeningWindow, Shop, User
from shopdesk.shop.queries import the_shop, today_at
from shopdesk.visits import actions as visits
from shopdesk.visits.models import Cell, Visit

FIRST = 20
"""How many commissions go through the actions."""

_PATH = (
    Stage.QUOTED,
    Stage.AGREED,
    Stage.BOOKED,
    Stage.CHECKED_IN,
    Stage.IN_WORK,
    Stage.DRYING,
    Stage.READY,
    Stage.COLLECTED,
)
_PLAN: tuple[Stage, ...] = (
    Stage.IN_WORK,  # the first one has a bit of everything
    *(Stage.REQUESTED, Stage.REQUESTED, Stage.REQUESTED, Stage.REQUESTED),
    *(Stage.QUOTED, Stage.QUOTED, Stage.QUOTED, Stage.AGREED, Stage.AGREED, Stage.BOOKED, Stage.BOOKED),
    *(Stage.CHECKED_IN, Stage.IN_WORK, Stage.DRYING, Stage.READY, Stage.READY, Stage.COLLECTED),
    *(Stage.ON_HOLD, Stage.CANCELLED),
)
_NAMES = (
    "Ottoline Brask", "Teal Ambrose", "Wenna Holt", "Idris Calloway", "Mairead Finch", "Bram Osterley",
    "Sunniva Pell", "Corwin Thackeray", "Lisbet Marlowe", "Anselm Quay", "Petra Lindgate", "Rufus Hallam",
    "Odile Varn", "Tamsin Grey", "Jory Penhallow", "Hester Blythe", "Caspar Wynn", "Nell Arkwright",
    "Soren Dale",
)  # fmt: skip
_PIECES = (
    "writing desk",
    "armchair",
    "card cabinet",
    "chest of drawers",
    "hall mirror",
    "kitchen table",
    "sideboard",
)
_WISH = "Its old warmth back, and a top one can write on. The finish is cloudy and the veneer lifts."


@dataclass(frozen=True)
class World:
    """What the measurements need to know of it: the owner, and the numbers of the first twenty commissions.
    The first of them has a bit of everything, and its client has another one too."""

    owner: User
    numbers: tuple[str, ...]

    @property
    def fullest(self) -> Commission:
        return Commission.objects.select_related("client").get(number=self.numbers[0])


def furnish() -> World:
    """Set up a shop and bring twenty commissions to their stages, in the current database."""
    shop = Shop.objects.create(
        id=1,
        name="Tidewell Bench",
        tagline="Furniture refinished to commission",
        address="8 Slip Lane\nPort Marrin",
        email="hello@tidewell.example.com",
        phone="555-0118",
        tax_rate=Decimal("6.25"),
        terms="The deposit books the place in the queue.\nAfter 30 days at the shop, storage is $5 a day.",
        included="Taking off and refitting the hardware",
        not_included="Upholstery\nCollection",
    )
    OpeningWindow.objects.bulk_create(
        OpeningWindow(weekday=day, opens=time(9), closes=time(17)) for day in range(5)
    )
    owner = User.objects.create(email="runa@tidewell.example.com", name="Runa Castellan")
    _write_the_book(Who("owner", owner.pk))
    beat()
    made = [_Story(shop, owner, place, stage).tell() for place, stage in enumerate(_PLAN)]
    assert len(made) == FIRST
    _bend_some(made)
    prepare_all()
    _all_sent_but_a_few()
    return World(owner, tuple(one.number for one in made))


def _write_the_book(owner: Who) -> None:
    """The starting set, the shop's rates, and a file of materials that waits for its press."""
    prices.begin(owner)
    prices.keep_rates(
        RatesFacts(
            Decimal(64), Decimal(48), Decimal(150), minutes_around_a_job=60, sundries_percent=Decimal(5)
        ),
        owner,
    )
    Sheet.objects.create(
        kind=Sheet.Kind.MATERIALS, text="name,kind,can,price\r\nBoat varnish,clear coat,1 L,28\r\n"
    )


class _Story:
    """One commission on its way to its stage."""

    def __init__(self, shop: Shop, owner: User, place: int, until: Stage) -> None:
        self.shop, self.place, self.until = shop, place, until
        self.owner = Who("owner", owner.pk, "127.0.0.1")
        self.full = place == 0
        name = _NAMES[place % len(_NAMES)]  # one name comes twice, and is one client
        email = "" if place == 3 else f"{name.split()[0].lower()}@example.com"
        self.client = know_client(
            name=name, email=email, phone=f"555-01{place % len(_NAMES):02d}", address="3 Gull Steps"
        )
        self.as_client = Who("client", self.client.pk, "127.0.0.1")
        self.today = today_at(shop)

    def tell(self) -> Commission:
        self.commission = self._asks()
        self._talk()
        self._before_the_quote()
        if self.until in (Stage.ON_HOLD, Stage.CANCELLED):
            self._walk(Stage.CHECKED_IN)
            if self.until == Stage.ON_HOLD:
                bench.hold(self.commission, "The client is travelling.", self.owner)
            else:
                bench.cancel(self.commission, "The client moves abroad.", self.owner)
        elif self.until != Stage.REQUESTED:
            self._walk(self.until)
        return self.commission

    def _asks(self) -> Commission:
        several = 2 if self.place % 3 == 0 else 1
        pieces = [
            NewPiece(
                _PIECES[(self.place + more) % len(_PIECES)],
                width_mm=Decimal(1400),
                depth_mm=Decimal(700),
                height_mm=Decimal(760),
                material="walnut",
                made="about 1930",
                finish_now="varnished",
                trouble="The veneer lifts.",
            )
            for more in range(several)
        ]
        wish = Wish(
            _WISH,
            "as it was",
            "satin",
            "keep it",
            "a study",
            self.today + timedelta(days=60),
            "$1,500",
            "a van",
        )
        pictures = self._pictures(5, (1600, 1200)) if self.full else self._pictures(2)
        return open_commission(NewCommission(self.client, "page", wish, pieces, pictures), self.as_client)

    def _pictures(self, count: int, size: tuple[int, int] = (160, 120)) -> list[Picture]:
        return [take_in(io.BytesIO(phone_photo(size)), f"photo-{number}.jpg") for number in range(count)]

    def _talk(self) -> None:
        if self.place % 4 == 1:
            conversation.say_to_client(self.commission, "Is the top veneered or solid?", self.owner)
        if self.place % 3 == 1:
            conversation.say_to_shop(self.commission, "Could you say what it would cost?", self.as_client)
        if self.full:
            for number in range(3):
                conversation.say_to_shop(
                    self.commission, f"One more question, the {number + 1}.", self.as_client
                )
                conversation.say_to_client(
                    self.commission, "Yes, that can be done.", self.owner, self._pictures(1)
                )

    def _before_the_quote(self) -> None:
        if self.full or self.place == 2:
            ballpark.send(
                self.commission, Decimal(450), Decimal(600), "By the pictures.", self.owner, how=["By hand."]
            )
        if self.full or self.place == 4:
            visits.offer_site_visit(self.commission, self.owner)

    def _walk(self, until: Stage) -> None:
        steps: dict[Stage, Callable[[], object]] = {
            Stage.QUOTED: self._quote,
            Stage.AGREED: self._accept,
            Stage.BOOKED: self._deposit,
            Stage.CHECKED_IN: lambda: bench.check_in(self.commission, self.today, self.owner),
            Stage.IN_WORK: self._work_and_find,
            Stage.DRYING: lambda: bench.set_to_dry(self.commission, self.owner),
            Stage.READY: self._ready,
            Stage.COLLECTED: self._hand_over,
        }
        for stage in _PATH[: _PATH.index(until) + 1]:
            steps[stage]()
            self.commission.refresh_from_db()

    def _quote(self) -> None:
        for revision in range(2 if self.full else 1):
            draft = quotes.start(self.commission, self.owner)
            lines = [
                TypedLine("preparation", "Strip and sand", Decimal(64), Decimal("6.5"), "hours"),
                TypedLine("repair", "Lay the veneer and let in a patch", Decimal(64), Decimal(3), "hours"),
                TypedLine("finish", "Stain, shellac and wax", Decimal(64), Decimal(8), "hours"),
                TypedLine("materials", "Abrasives, shellac, wax", Decimal("86.40"), taxable=True),
            ]
            pieces = [
                TypedPiece(
                    one.name,
                    "Strip, repair, stain and finish.\nNew felt under the feet.",
                    lines,
                    one.piece_id,
                    self._estimate(),
                )
                for one in draft.pieces.all()
            ]
            typed = TypedQuote(
                pieces,
                [
                    TypedOption("New brass locks", Decimal(120), True),
                    TypedOption("Waxed, not lacquered", Decimal(-40)),
                    TypedOption("Walnut brown", Decimal(0), choice="Colour", preselected=True),
                    TypedOption("As it is", Decimal(-60), choice="Colour"),
                ],
                self.today + timedelta(days=14),
                self.today + timedelta(days=40),
                self.today + timedelta(days=14),
                Decimal(50 - 10 * revision),
                note="Thank you for the pictures.",
                included="Taking off and refitting the hardware",
                not_included="Upholstery",
                terms=self.shop.terms,
                show_lines=self.full,
            )
            saved = quotes.save(self.commission, typed, draft.edition, self.owner)
            quotes.send(self.commission, saved.edition, self.owner)

    def _estimate(self) -> TypedEstimate:
        sizes = {"width_mm": "55", "depth_mm": "27 1/2", "height_mm": "30", "drawers": "4"}
        schedule = dict(snapshot(schedules()[0]))
        return TypedEstimate("case", sizes, 1, schedule=schedule, puts={"area-body": Decimal(3)})

    def _accept(self) -> None:
        sent = Quote.objects.get(commission=self.commission, state=Quote.State.SENT)
        ticked = sent.options.filter(text__in=["New brass locks", "Walnut brown"])
        quotes.accept(sent.pk, list(ticked.values_list("pk", flat=True)), self.client.name, self.as_client)

    def _deposit(self) -> None:
        self._pay(lambda now: now.deposit_open)

    def _pay(self, how_much: Callable[[Any], Decimal]) -> None:
        now = standing(self.commission)
        assert now is not None
        deposits.record_payment(self.commission, how_much(now), self.today, "transfer", "", self.owner)

    def _work_and_find(self) -> None:
        """Every other piece turns out worse than it looked. The fullest one has had an invoice before its
        changes are agreed, so that it is taken back by a credit; another change waits for its answer."""
        self._work()
        if self.full:
            invoices.issue(self.commission, self.owner)
        if self.place % 2 == 0:
            changes.accept(self._change("The left rail is eaten by worm."), self.client.name, self.as_client)
        if self.full:
            changes.decline(self._change("The back is of plywood."), "It stands at a wall.", self.as_client)
            self._change("A drawer is missing.", self._pictures(2))

    def _change(self, reason: str, pictures: Sequence[Picture] = ()) -> int:
        new = changes.NewChange(reason, "A new one in walnut.", Decimal(120), taxable=True, days=4)
        return changes.propose(self.commission, new, self.owner, pictures).pk

    def _work(self) -> None:
        bench.begin_work(self.commission, self.owner)
        if self.place % 2:
            sample = self._sample("Slipway brown")
            colours.approve(sample, self.client.name, self.as_client)
        else:
            for round_ in range(2 if self.full else 1):
                colours.ask_again(
                    self._sample(f"Walnut {round_ + 1}"), self.client.name, "Too warm.", self.as_client
                )
        if self.full:
            self._sample("Walnut 3")
        for number in range(4 if self.full else 1):
            progress.show(
                self.commission, f"The top is sanded, step {number + 1}.", self.owner, self._pictures(2)
            )

    def _sample(self, name: str) -> int:
        piece = self.commission.pieces.order_by("position")[0]
        new = colours.NewSample(name, "W-12", "satin", "shellac", "#5b3a24", "Two coats, rubbed down.")
        return colours.propose(piece, new, self.owner, self._pictures(1)[0]).pk

    def _ready(self) -> None:
        progress.show(self.commission, "Finished.", self.owner, self._pictures(2), finished=True)
        bench.make_ready(self.commission, self.owner, past="agreed on the telephone")

    def _hand_over(self) -> None:
        self._pay(lambda now: now.due)
        bench.hand_over(self.commission, self.owner)


def _bend_some(made: list[Commission]) -> None:
    """What time would have done, and what no action makes at any hour of the day: a quote that has run out,
    one begun anew, a deposit overdue, visits today and tomorrow."""
    shop = the_shop()
    yesterday = today_at(shop) - timedelta(days=2)
    of = {stage: [one for one in made if one.stage == stage] for stage in Stage}
    Quote.objects.filter(commission=of[Stage.QUOTED][0]).update(good_until=yesterday)
    owner = Who("owner", User.objects.values_list("pk", flat=True)[0])
    quotes.start(of[Stage.QUOTED][1], owner)
    quotes.start(of[Stage.REQUESTED][0], owner)
    Account.objects.filter(commission=of[Stage.AGREED][0]).update(deposit_due_on=yesterday)
    noon = datetime.combine(today_at(shop), time(16), UTC)
    _visit(of[Stage.BOOKED][0], "drop-off", noon)
    _visit(of[Stage.READY][0], "pickup", noon + timedelta(hours=1))
    _visit(of[Stage.BOOKED][1], "drop-off", noon + timedelta(days=1, minutes=30))
    _visit(of[Stage.REQUESTED][3], "site-visit", noon + timedelta(days=1, minutes=90))
    with transaction.atomic():
        for one in of[Stage.REQUESTED][:1]:
            conversation.say_to_shop(one, "Are you there?", Who("client", one.client_id))


def _visit(commission: Commission, kind: str, starts_at: datetime) -> None:
    visit = Visit.objects.create(
        commission=commission, kind=kind, starts_at=starts_at, ends_at=starts_at + timedelta(minutes=30)
    )
    for quarter in range(2):
        Cell.objects.create(starts_at=starts_at + timedelta(minutes=15 * quarter), visit=visit)


def _all_sent_but_a_few() -> None:
    """As if the worker had been here: documents done, emails gone out, some still waiting and one refused."""
    now = timezone.now()
    files.put(settings.DOCUMENTS / "done.pdf", b"%PDF-1.7\n")
    Document.objects.update(state=Work.State.DONE, done_at=now, pages=1, path="done.pdf")
    gone = Email.objects.filter(way=Email.Way.EMAIL).order_by("id")
    waiting = list(gone.values_list("pk", flat=True)[:6])
    gone.exclude(pk__in=waiting).update(
        state=Work.State.DONE,
        done_at=now,
        worded_at=now,
        subject="About your piece",
        text="Words.",
        html="<p>Words.</p>",
    )
    Email.objects.filter(pk=waiting[0]).update(
        state=Work.State.FAILED, done_at=now, trouble="No such mailbox."
    )


# -- many more -----------------------------------------------------------------------------------------------


_COPIED = {
    "photos", "documents", "mail", "commissions", "deposits", "ballpark", "changes",
    "conversation", "quotes", "colours", "progress", "visits",
}  # fmt: skip
_OF_THE_SHOP = {QuickAnswer}
"""What hangs on no commission, in the rooms that are copied."""
_FRESH: dict[str, Callable[[Any, int], Any]] = {
    "key": lambda value, copy: uuid4(),
    "uid": lambda value, copy: uuid4(),
    "number": lambda value, copy: f"{value}-{copy}" if isinstance(value, str) else value,
    "message_id": lambda value, copy: f"<{uuid4()}@tidewell.example.com>",
    "thread": lambda value, copy: f"{value} {copy}",
    "gather": lambda value, copy: value and f"{value} {copy}",
    "starts_at": lambda value, copy: value + timedelta(hours=2 * copy),
    "ends_at": lambda value, copy: value + timedelta(hours=2 * copy),
}
"""What must not be the same in a copy (by the column's name), from the value and the number of the copy."""


def grow(to: int) -> None:
    """Copy the first twenty commissions with all that hangs on them until there are `to`. Clients are not
    copied: the first ones keep coming back."""
    kinds = list(_pointed_at_first(_of_commissions()))
    first = {kind: list(kind._base_manager.order_by("pk")) for kind in kinds}
    with transaction.atomic():
        for copy in range(1, to // FIRST):
            copies: dict[tuple[type[models.Model], Any], Any] = {}
            for kind in kinds:
                own = kind in _points_at(kind)  # such a row comes after the one that it points at
                for some in [[row] for row in first[kind]] if own else [first[kind]]:
                    rows = [_copied(row, copy, copies) for row in some]
                    kind._base_manager.bulk_create(rows)
                    copies.update({(kind, old.pk): new.pk for old, new in zip(some, rows, strict=True)})
    assert Commission.objects.count() == to, "a whole number of twenties"


def _copied(row: models.Model, copy: int, copies: dict[tuple[type[models.Model], Any], Any]) -> models.Model:
    values: dict[str, Any] = {}
    for field in row._meta.concrete_fields:
        value = getattr(row, field.attname)
        if field.primary_key:
            continue
        if isinstance(field, models.ForeignKey):
            value = copies.get((field.related_model, value), value)
        elif field.name in _FRESH and value is not None:
            value = _FRESH[field.name](value, copy)
        values[field.attname] = value
    return type(row)(**values)


def _of_commissions() -> list[type[models.Model]]:
    return [one for one in _models() if one._meta.app_label in _COPIED and one not in _OF_THE_SHOP]


def _models() -> list[type[models.Model]]:
    return apps.get_models(include_auto_created=True)


def _pointed_at_first(kinds: Iterable[type[models.Model]]) -> Iterator[type[models.Model]]:
    """Each kind of row after those that it points at."""
    left = list(kinds)
    while left:
        ready = [kind for kind in left if not _points_at(kind) & (set(left) - {kind})]
        assert ready, "rows point at each other in a circle"
        yield from ready
        left = [kind for kind in left if kind not in ready]


def _points_at(kind: type[models.Model]) -> set[Any]:
    return {
        field.related_model for field in kind._meta.concrete_fields if isinstance(field, models.ForeignKey)
    }
