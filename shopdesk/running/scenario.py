"""The demo's story, played through the same actions that the pages use: real pictures, real PDFs, real
emails by a real worker.

The words stand in `shared/demo/scenario.toml`, the pictures are drawn by `shopdesk.running.drawings`.
"""

from __future__ import annotations

import time
from dataclasses import dataclass
from datetime import timedelta
from decimal import Decimal

from django.conf import settings
from django.utils import timezone

from shopdesk.ballpark import actions as ballpark
from shopdesk.bench import actions as bench
from shopdesk.changes import actions as changes
from shopdesk.clients.access import link
from shopdesk.clients.queries import grant_of
from shopdesk.colours import actions as colours
from shopdesk.commissions.actions import NewPiece, Wish
from shopdesk.commissions.models import Commission
from shopdesk.conversation import actions as conversation
from shopdesk.intake import actions as intake
from shopdesk.mail.models import Email
from shopdesk.progress import actions as progress
from shopdesk.running import incoming
from shopdesk.running.drawings import save_all
from shopdesk.running.players import Players
from shopdesk.running.telling import said
from shopdesk.shop.queries import the_shop, today_at


@dataclass(frozen=True)
class Addresses:
    """What a newcomer needs when the story has been played."""

    login: str
    password: str
    client_link: str


class Story(Players):
    """The scenario."""

    # -- the story -------------------------------------------------------------------------------------------

    def play(self) -> Addresses:
        """The whole of it. Raises `WorkerSilent` when no worker does its part."""
        owner = self.words["owner"]
        began = time.monotonic()
        self.pictures = save_all(settings.VAR / "drawn", size=(1600, 1200))
        self.calendar.days_ago(30, 9)
        self.open_shop()
        shop, seconds = self.words["shop"]["name"], time.monotonic() - began
        self.told(f"{owner['name']} sets up {shop}; {len(self.pictures)} pictures drawn in {seconds:.0f} s")
        commission = self._from_request_to_hand_over()
        self._others()
        return Addresses(
            owner["login"],
            owner["password"],
            link(grant_of(commission.client), f"/my/{commission.number}/"),
        )

    def _from_request_to_hand_over(self) -> Commission:
        zone, words = self.calendar.zone, self.words["desk"]
        name = words["name"]
        self.days_ago(27, 10, 12)
        commission, client = self.ask(
            "desk", ["desk-before-front", "desk-before-top", "desk-before-drawer", "armchair-before"]
        )
        number = commission.number
        self.told(f"{name} asks about a writing desk and an armchair, with four pictures: {number}")
        self.days_ago(26, 18, 40)
        conversation.say_to_client(
            commission,
            "What a fine desk. Does the leather matter to you, or may it give way to walnut?",
            self.owner,
        )
        self.days_ago(26, 20, 5)
        self.answers_by_mail(commission, words["by_mail"])
        self.days_ago(26, 20, 30)
        conversation.say_to_client(commission, "Walnut it is. Your quote follows tomorrow.", self.owner)
        conversation.note(commission, words["note"], self.owner)
        self.told(f"A question; {name} answers it by email, which lands in the conversation")
        self.days_ago(25, 19, 20)
        quote = self.quote("desk", commission, starts=6, ready=21)
        self.told("The price book quotes the two pieces from their sizes; the quote goes out as a PDF")
        self.days_ago(24, 9, 30)
        conversation.say_to_shop(commission, words["revision"]["wish"], client)
        self.days_ago(24, 18, 50)
        conversation.say_to_client(commission, words["revision"]["answer"], self.owner)
        quote = self.quote("desk", commission, starts=6, ready=21, less=words["revision"])
        self.told(f"Revision {quote.revision} goes out, and says what changed")
        self.days_ago(23, 8, 15)
        acceptance = self.accept(quote, client, options=(0, 2))
        self.told(f"{name} ticks an option and accepts: {said(acceptance.total)} in all")
        self.days_ago(22, 17, 30)
        amount = self.pay(commission, "transfer", deposit=True)
        self.told(f"The deposit of {said(amount)} is in, with a receipt; the place is booked")
        self.days_ago(22, 18, 10)
        visit = self.book(commission, "drop-off", client, skip=4)
        self.told(f"{name} books a drop-off: {visit.starts_at.astimezone(zone):%a %d %b, %H:%M}")
        self.turn_to(visit.starts_at + timedelta(minutes=20))
        bench.check_in(
            commission,
            today_at(the_shop()),
            self.owner,
            note="Ring and lifting veneer looked at together",
        )
        self.told("The pieces are checked in")
        self.days_ago(17, 8, 5)
        bench.begin_work(commission, self.owner)
        progress.show(
            commission,
            "The leather is off, and everything is sanded through the grits. The drawers are numbered.",
            self.owner,
            [self.photo("desk-sanded")],
        )
        progress.show(
            commission,
            "The armchair is glued up anew and rests in its clamps.",
            self.owner,
            [self.photo("armchair-glue-up")],
        )
        self.told("On the bench; two pieces of progress go out as one email")
        self.days_ago(16, 17, 15)
        found = words["change"]
        change = changes.propose(
            commission,
            changes.NewChange(found["reason"], found["words"], Decimal(found["price"]), days=found["days"]),
            self.owner,
            [self.photo("desk-before-top")],
        )
        self.days_ago(16, 20, 40)
        changes.accept(change.pk, name, client)
        changes.note(change.pk, self.owner)
        self.told(f"Hidden damage: change {change.number} is pictured, priced and agreed")
        self.days_ago(15, 12, 30)
        first = self.propose(commission, "desk", "first", "board-tarred-walnut")
        self.days_ago(14, 9, 50)
        colours.ask_again(first, name, words["samples"]["not_yet"], client)
        self.days_ago(13, 17, 45)
        second = self.propose(commission, "desk", "second", "board-slipway-brown")
        chair = self.propose(commission, "desk", "second", "board-slipway-brown", place=2)
        self.days_ago(11, 18, 20)
        colours.approve(second, name, client)
        colours.approve(chair, name, client)
        self.told("The first sample is not right yet, the second is approved")
        self.days_ago(10, 9, 30)
        bench.first_coat(commission, self.owner)
        progress.show(
            commission,
            "Dye and first coat. It looks redder wet than it will be dry.",
            self.owner,
            [self.photo("desk-first-coats")],
        )
        bench.set_to_dry(commission, self.owner)
        self.told("First coat of colour, and drying")
        self.days_ago(5, 16, 40)
        finals = [self.photo(one) for one in ("desk-after-front", "desk-after-top", "armchair-after")]
        progress.show(
            commission, "Done. Seven drawers run, both locks turn.", self.owner, finals, finished=True
        )
        bench.make_ready(commission, self.owner)
        self.told("Finished, with the last pictures; ready to collect")
        self.days_ago(4, 19, 0)
        visit = self.book(commission, "pickup", client, skip=2)
        self.told(f"{name} books a pickup: {visit.starts_at.astimezone(zone):%a %d %b, %H:%M}")
        self.turn_to(visit.starts_at + timedelta(minutes=10))
        amount = self.pay(commission, "card", deposit=False)
        bench.hand_over(commission, self.owner, note="Looked over together")
        self.told(f"The balance of {said(amount)} is paid, and the pieces go home")
        return commission

    def _others(self) -> None:
        self.days_ago(12, 11, 0)
        cabinet, client = self.ask("cabinet", ["card-cabinet-before"])
        self.days_ago(11, 19, 30)
        quote = self.quote("cabinet", cabinet, starts=6, ready=26)
        self.days_ago(10, 7, 45)
        self.accept(quote, client)
        self.days_ago(9, 17, 0)
        self.pay(cabinet, "cash", deposit=True)
        self.days_ago(9, 17, 20)
        visit = self.book(cabinet, "drop-off", client)
        self.turn_to(visit.starts_at + timedelta(minutes=15))
        bench.check_in(cabinet, today_at(the_shop()), self.owner)
        self.days_ago(3, 8, 30)
        bench.begin_work(cabinet, self.owner)
        self.propose(cabinet, "cabinet", "first", "board-harvest-oak")
        name = self.words["cabinet"]["name"]
        self.told(f"{name}’s card cabinet is on the bench and waits for its colour: {cabinet.number}")
        self.days_ago(4, 20, 30)
        mirror, client = self.ask("mirror", ["hall-mirror-before"])
        self.days_ago(3, 19, 15)
        self.quote("mirror", mirror, starts=14, ready=30)
        self.days_ago(1, 12, 5)
        conversation.say_to_shop(
            mirror, "Could the glass stay in its frame for the work? It frightens me to move it.", client
        )
        self.told(f"{self.words['mirror']['name']} has a quote and asks before answering: {mirror.number}")
        self._post()
        chairs = self.words["chairs"]
        self.days_ago(1, 16, 20)
        asked = intake.Asked(
            chairs["name"],
            "",
            chairs["phone"],
            Wish(chairs["wish"]),
            [NewPiece("ladder-back chairs", count=6)],
        )
        noted = intake.note_request(asked, "phone", [self.photo("ladder-backs-before")], self.owner)
        self.days_ago(1, 19, 5)
        low, high = Decimal(chairs["low"]), Decimal(chairs["high"])
        ballpark.send(noted, low, high, chairs["ballpark"], self.owner)
        self.begin_quote("chairs", noted, starts=10, ready=28)
        self.told(
            f"{chairs['name']} calls about six chairs, and has no email: {noted.number}; "
            "what would be emailed is on the list of what to tell"
        )

    def _post(self) -> None:
        """What else comes with the post: an email that came back, and one that only the owner can place."""
        stand, typo = self.words["stand"], timedelta(minutes=2)
        self.days_ago(1, 13, 40)
        commission, _ = self.ask("stand", [])
        sent = Email.objects.get(thread=f"commission {commission.pk}", kind="request-received")
        self.comes_in(incoming.returned(sent, timezone.now() + typo))
        conversation.note(commission, stand["call"], self.owner, call=True)
        self.told(f"{stand['name']} mistypes an address: the email about {commission.number} comes back")
        one = self.words["stranger"]
        self.comes_in(
            incoming.stranger(
                one["name"],
                one["email"],
                self.words["shop"]["email"],
                one["subject"],
                one["words"],
                timezone.now(),
            )
        )
        self.told(f"{one['name']} writes out of the blue: the email waits for the owner to place it")
