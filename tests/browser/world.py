"""A shop in which every page has something to show: one client's commissions in each state, made by the
actions that the pages use, and somebody without email."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field, replace
from datetime import datetime, time, timedelta
from decimal import Decimal
from typing import Any

from django.utils import timezone

from shopdesk.ballpark import actions as ballpark
from shopdesk.base.who import Who
from shopdesk.bench import actions as bench
from shopdesk.changes import actions as changes
from shopdesk.clients.models import Client
from shopdesk.colours import actions as colours
from shopdesk.commissions.actions import NewPiece, Wish
from shopdesk.commissions.models import Commission
from shopdesk.commissions.reminders import write_due
from shopdesk.conversation import actions as conversation
from shopdesk.conversation import quick
from shopdesk.deposits import actions as deposits
from shopdesk.deposits import invoices
from shopdesk.deposits.models import Entry
from shopdesk.deposits.queries import standing
from shopdesk.documents.models import Document
from shopdesk.intake import actions as intake
from shopdesk.mail.models import Email
from shopdesk.photos.actions import take_in
from shopdesk.photos.models import Picture
from shopdesk.portal import actions as portal
from shopdesk.pricebook import queries as prices
from shopdesk.progress import actions as progress
from shopdesk.quotes import actions as quotes
from shopdesk.quotes.models import Quote
from shopdesk.quotes.typed import TypedEstimate, TypedLine, TypedOption, TypedQuote
from shopdesk.shop.models import Shop
from shopdesk.shop.queries import the_shop, today_at
from shopdesk.visits import actions as visits
from shopdesk.visits.queries import free
from tests.browser.book import Book, write_book
from tests.conftest import MakePicture
from tests.quotes.making import send, typed

LONG = (
    "Grandmother’s, and her grandmother’s before that; it stood in the harbour office, in the barn, then "
    "under a leaking window. https://example.com/a-very-long-address-that-does-not-break-anywhere-by-itself "
    "Schwergutverschiffungsgesellschaftsschreibtischschubladenschlüssel. "
)


@dataclass
class World:
    """`at["quoted"]` is the commission that stands there."""

    client: Client
    owner: Who
    book: Book
    at: dict[str, Commission] = field(default_factory=dict)
    sample: int = 0
    entry: Entry | None = None
    told: Email | None = None
    quick: int = 0
    without_email: str = ""

    def number(self, stage: str) -> str:
        return self.at[stage].number


class Builder:
    def __init__(self, client: Client, owner: Who, file: MakePicture, work: Callable[[], None]) -> None:
        self.world = World(client, owner, write_book(owner, LONG))
        self.owner, self.client = owner, Who("client", client.pk, "127.0.0.1")
        self.file, self.work = file, work

    def photo(self) -> Picture:
        return take_in(self.file(size=(400, 300)), "a.jpg")

    def asked(self, name: str, **piece: Any) -> Commission:
        client = self.world.client
        return intake.note_request(
            intake.Asked(
                client.name,
                client.email,
                client.phone,
                Wish(
                    LONG,
                    colour_wish="A warm brown.",
                    sheen="satin",
                    hardware_wish="Kept.",
                    place="The study",
                    budget="$1,500",
                    travel="Two steps down",
                ),
                [NewPiece(name, material="walnut", finish_now="varnished", trouble=LONG, **piece)],
            ),
            "phone",
            [self.photo(), self.photo()],
            self.owner,
        )

    def quoted(self, name: str, **other: Any) -> Commission:
        commission = self.asked(name)
        send(commission, self.owner, **other)
        return commission

    def agreed(self, name: str, **other: Any) -> Commission:
        commission = self.asked(name)
        quote = send(commission, self.owner, **other)
        quotes.accept(quote.pk, [quote.options.all()[0].pk], "Ottoline Brask", self.client)
        return commission

    def pay(self, commission: Commission) -> Entry:
        money = standing(commission)
        assert money is not None
        amount = money.deposit_open or money.due
        return deposits.record_payment(
            commission, amount, today_at(the_shop()), "cash", "in hand", self.owner
        )

    def booked(self, name: str, **other: Any) -> Commission:
        commission = self.agreed(name, **other)
        self.pay(commission)
        return commission

    def visit(self, commission: Commission, kind: str) -> None:
        start = [slot.start for slot in free(timezone.now())][-1]
        visits.book(commission, kind, start, self.client)

    def on_the_bench(self, name: str, **other: Any) -> Commission:
        commission = self.booked(name, **other)
        bench.check_in(commission, today_at(the_shop()), self.owner)
        bench.begin_work(commission, self.owner)
        progress.show(commission, LONG, self.owner, [self.photo(), self.photo()])
        return commission

    def propose(self, commission: Commission, name: str, *, picture: bool = True) -> int:
        new = colours.NewSample(name, "W-12", "satin", "dye, then hard oil", "#3e2a20", LONG)
        piece = commission.pieces.get(position=1)
        return colours.propose(piece, new, self.owner, self.photo() if picture else None).pk

    def ready(self, name: str) -> Commission:
        commission = self.on_the_bench(name)
        colours.approve(self.propose(commission, "Slipway brown"), "Ottoline Brask", self.client)
        bench.first_coat(commission, self.owner)
        progress.show(commission, "Done.", self.owner, [self.photo(), self.photo()], finished=True)
        bench.make_ready(commission, self.owner)
        return commission

    def changed(self, name: str) -> Commission:
        """On the bench with a change of each state, and an invoice that was taken back and issued anew."""
        commission = self.on_the_bench(name)

        def propose(reason: str, **other: Any) -> int:
            new = changes.NewChange(reason, LONG, Decimal(120), taxable=True, days=4)
            pictures = [self.photo(), self.photo()]
            return changes.propose(commission, replace(new, **other), self.owner, pictures).pk

        changes.accept(
            propose("Under the old paint the left rail is eaten by worm."), "O. Brask", self.client
        )
        invoices.correct(invoices.issue(commission, self.owner), "The address was the old one.", self.owner)
        changes.decline(propose("The back is of plywood."), "It stands against the wall.", self.client)
        changes.withdraw(propose("A drawer is missing."), "It was in the barn.", self.owner)
        changes.accept(
            propose("The inside stays raw.", price=Decimal(-80), days=0), "O. Brask", self.owner, "word"
        )
        propose(LONG)
        return commission

    def reckoned(self, commission: Commission) -> TypedQuote:
        """A quote with all that one can hold, reckoned by the price book; one figure is put in by hand."""
        schedule = next(one for one in prices.schedules() if one.name != "The long way")
        plain = typed(commission)
        sizes = {"width_mm": "55", "depth_mm": "20", "height_mm": "30", "drawers": "4", "legs": "4"}
        estimate = TypedEstimate(
            "case", sizes, 2, schedule=dict(prices.snapshot(schedule)), puts={"area-body": Decimal(3)}
        )
        knobs = TypedLine(
            "materials", "Knobs", Decimal(9), Decimal(8), "pieces", True, True, ((Decimal(8), Decimal(7)),)
        )
        return replace(
            plain,
            pieces=[
                replace(plain.pieces[0], estimate=estimate, lines=[*plain.pieces[0].lines, knobs]),
                *plain.pieces[1:],
            ],
            options=[
                *plain.options,
                TypedOption("Walnut brown", Decimal(0), choice="Colour", preselected=True),
                TypedOption(LONG[:300], Decimal(40), True, choice="Colour"),
                TypedOption("New castors", Decimal(60), True, allowance=True),
            ],
            minimum=Decimal(150),
            rush=True,
            rush_share=Decimal(25),
            discount=Decimal(30),
            discount_words="For coming back",
            show_lines=True,
        )

    def _before_the_quote(self) -> None:
        at = self.world.at
        at["ballpark"] = self.asked("hat stand")
        ballpark.send(at["ballpark"], Decimal(450), Decimal(600), LONG, self.owner, how=["By hand."])
        at["to be looked at"] = self.asked("church pew")
        visits.offer_site_visit(at["to be looked at"], self.owner)
        at["looked at"] = self.asked("long table")
        visits.offer_site_visit(at["looked at"], self.owner)
        self.visit(at["looked at"], "site-visit")

    def _priced(self) -> None:
        """Drafts and quotes that use the book; one that runs out and one that has run out."""
        at = self.world.at
        for stage in ("reckoned", "chosen between"):
            at[stage] = self.asked(f"commode, {stage}", width_mm=Decimal(1400))
            draft = quotes.start(at[stage], self.owner)
            draft = quotes.save(at[stage], self.reckoned(at[stage]), draft.edition, self.owner)
            if stage == "chosen between":
                quotes.send(at[stage], draft.edition, self.owner)
        at["running out"], at["run out"] = self.quoted("whatnot"), self.quoted("plant stand")
        shop = the_shop()
        noon = datetime.combine(today_at(shop), time(12), shop.tz)
        sent = Quote.objects.filter(commission=at["running out"])
        sent.update(sent_at=noon - timedelta(days=12), good_until=noon.date() + timedelta(days=2))
        assert write_due(noon) == 1
        gone = Quote.objects.filter(commission=at["run out"])
        gone.update(sent_at=noon - timedelta(days=20), good_until=noon.date() - timedelta(days=2))

    def build(self) -> World:
        Shop.objects.update(
            charges_vat=True, tax_number="DE 123456788", iban="DE89370400440532013000", bic="COBADEFFXXX",
            bank_name="Hafenbank", bank_holder="Runa Castellan", bank_words="Routing 021000021",
        )  # fmt: skip
        world, at = self.world, self.world.at
        at["requested"] = self.asked("writing desk", count=2, width_mm=Decimal(1400), made="about 1950")
        conversation.say_to_client(at["requested"], "What a fine desk. How high is it?", self.owner)
        conversation.say_to_shop(at["requested"], LONG, self.client, [self.photo()])
        conversation.say_to_shop(
            at["requested"], LONG, self.client, came_by="mail", quoted=LONG, left_out=["a.pdf, 1.2 MB", LONG]
        )
        conversation.note(at["requested"], LONG, self.owner)
        conversation.note(at["requested"], "Rang, will bring the key on Friday", self.owner, call=True)
        world.quick = quick.keep("Seen from here", f"Your {{pieces}}: {{ready_date}}. {LONG}", self.owner).pk
        at["begun"] = self.asked("hall mirror")
        draft = quotes.start(at["begun"], self.owner)
        quotes.save(at["begun"], typed(at["begun"]), draft.edition, self.owner)
        at["quoted"] = self.quoted("card cabinet", note=LONG, show_lines=True, included=LONG, terms=LONG)
        quotes.start(at["quoted"], self.owner)
        send(at["quoted"], self.owner)  # the second revision; the first is superseded
        at["agreed"] = self.agreed("six chairs")
        at["booked"] = self.booked("sideboard")
        at["dropping off"] = self.booked("bench")
        self.visit(at["dropping off"], "drop-off")
        at["in work"] = self.on_the_bench("bookcase", sample_promised=True)
        colours.ask_again(self.propose(at["in work"], "Tarred walnut"), "Ottoline Brask", LONG, self.client)
        world.sample = self.propose(at["in work"], "Slipway brown", picture=False)
        at["wanted again"] = self.on_the_bench("stool")
        again = self.propose(at["wanted again"], "Harvest oak")
        colours.ask_again(again, "Ottoline Brask", "Warmer.", self.client)
        at["drying"] = self.on_the_bench("chest")
        bench.set_to_dry(at["drying"], self.owner)
        at["ready"] = self.ready("toilet mirror")
        at["fetching"] = self.ready("tea table")
        self.visit(at["fetching"], "pickup")
        at["collected"] = self.ready("armchair")
        self.pay(at["collected"])
        bench.hand_over(at["collected"], self.owner)
        at["changed"] = self.changed("glazed bookcase")
        self._before_the_quote()
        self._priced()
        at["on hold"] = self.booked("linen press")
        bench.hold(at["on hold"], "Waits for its marble", self.owner)
        at["cancelled"] = self.booked("wash stand")
        bench.cancel(at["cancelled"], "They move abroad", self.owner, give_back=Decimal(100), how="cash")
        at["declined"] = self.asked("spinet")
        quotes.decline_request(at["declined"], "It is not work that we can take on.", self.owner)
        at["withdrawn"] = self.quoted("piano stool")
        portal.withdraw(at["withdrawn"], self.client, LONG)
        world.entry = self.pay(at["ready"])
        self._without_email()
        self._trouble()
        return world

    def _without_email(self) -> None:
        asked = intake.Asked(
            "Anselm Roe", "", "555-0164", Wish(LONG), [NewPiece("ladder-back chairs", count=6)]
        )
        commission = intake.note_request(asked, "phone", [], self.owner)
        self.world.told = Email.objects.get(way=Email.Way.TELL)
        self.world.without_email = commission.number
        conversation.say_to_client(commission, LONG, self.owner)

    def _trouble(self) -> None:
        """Some work is done, some waits, and one of each has failed."""
        self.work()
        Email.objects.filter(pk=Email.objects.filter(way="email").earliest("pk").pk).update(
            state="failed", trouble="ottoline@example.com was refused by the mail server: 550 no such user"
        )
        Document.objects.filter(pk=Document.objects.latest("pk").pk).update(
            state="failed", trouble="There is no room left on the disk."
        )
        Picture.objects.filter(pk=self.photo().pk).update(state="failed", trouble="It cannot be decoded.")
        conversation.say_to_client(self.world.at["quoted"], "Take your time.", self.owner)  # it waits
