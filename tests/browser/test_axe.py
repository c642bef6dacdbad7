"""Every page of both sides in a browser: axe-core finds nothing, by day and by night, on a phone and a
laptop; nothing scrolls sideways, nothing complains, every press belongs to a form. And the client's forms
without JavaScript.

axe-core by Deque Systems, version 4.4.3, from the package axe-core-python 0.1.0: all its rules, those for
WCAG 2.0 and 2.1 A and AA and its best practices."""

from __future__ import annotations

import re
from collections.abc import Callable, Iterator
from datetime import datetime
from typing import Any

import pytest
from axe_core_python.base import AXE_SCRIPT
from django.conf import settings
from django.test import Client as Session
from django.urls import URLPattern, reverse
from django.utils import timezone
from playwright.sync_api import Browser, BrowserContext, Page, expect
from pytest_django.live_server_helper import LiveServer

from shopdesk.base.who import Who
from shopdesk.clients import stopping
from shopdesk.clients.access import link
from shopdesk.clients.models import Client
from shopdesk.clients.queries import grant_of
from shopdesk.colours.models import Sample
from shopdesk.commissions.models import Commission, Stage
from shopdesk.commissions.switches import switch, switch_kind
from shopdesk.conversation.actions import say_to_client
from shopdesk.conversation.placing import let_go
from shopdesk.look import fonts
from shopdesk.mail import links, own
from shopdesk.mail.models import Email, OwnWords
from shopdesk.mail.tags import reply_address
from shopdesk.pricebook.models import Schedule
from shopdesk.quotes.models import Acceptance
from shopdesk.shop.models import OpeningWindow, Shop, User
from shopdesk.visits.models import Visit
from tests.browser.book import FAULTY
from tests.browser.conftest import LAPTOP, PHONE, Complaints, at_width, no_sideways
from tests.browser.world import LONG, Builder, World
from tests.conftest import MakePicture
from tests.mail.arriving import Arrive, came, dsn
from tests.mail.arriving import arrive as arrive
from tests.mail.arriving import inbox as inbox
from tests.mail.arriving import letter as letter
from tests.test_doors import addresses

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True)]

AXE_VERSION = "4.4.3"

_RUN = """async (rules) => {
  const options = rules ? { resultTypes: ["violations"], runOnly: rules } : { resultTypes: ["violations"] };
  const found = await axe.run(document, options);
  return found.violations.map(one => `${one.id} (${one.impact}): ${one.help}\\n` +
    one.nodes.slice(0, 4).map(node => `    ${node.target.join(" ")}: ${node.html.slice(0, 200)}\\n      ` +
      node.failureSummary.split("\\n").slice(1).join("; ")).join("\\n"));
}"""
_COLOURS = ["color-contrast", "link-in-text-block"]
"""The rules that ask what a page looks like: the others find the same by night as by day."""
_WCAG = ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa"]
"""For emails: axe's best practices ask for what only pages have, a main part and a first heading."""
_LOOSE = """() => {
  const wrong = [];
  for (const form of document.querySelectorAll("form")) {
    if (form.method !== "post" || "tokenless" in form.dataset) continue;
    const held = name => [...form.elements].filter(one => one.name === name).length;
    if (held("csrfmiddlewaretoken") !== 1 || held("submission") > 1)
      wrong.push(`${form.action} holds ${held("csrfmiddlewaretoken")} tokens, ${held("submission")} keys`);
  }
  for (const press of document.querySelectorAll("button:not([type=button])"))
    if (!press.form) wrong.push(`“${press.textContent.trim()}” belongs to no form`);
  return wrong;
}"""
_SMALL = """() => [...document.querySelectorAll(
    "button, a.press, input:not([type=hidden]), select, textarea, summary")]
  .filter(one => one.checkVisibility({ visibilityProperty: true }) && !one.closest(".sr, .hollow") &&
                 one.getAttribute("aria-hidden") !== "true")
  .map(one => [one, (one.type === "checkbox" || one.type === "radio") && one.closest("label") || one])
  .map(([one, target]) => [one, target.getBoundingClientRect()])
  .filter(([one, box]) => box.height > 0 && box.height < 43.5)
  .map(([one, box]) => `${one.outerHTML.slice(0, 100)} is ${box.height} px high`)"""


@pytest.fixture
def world(client_person: Client, as_owner: Who, picture_file: MakePicture, work: Callable[[], None]) -> World:
    for weekday in (5, 6):
        OpeningWindow.objects.create(weekday=weekday, opens="09:00", closes="12:00")
    return Builder(client_person, as_owner, picture_file, work).build()


@pytest.fixture
def home(live_server: LiveServer, settings: Any) -> str:
    fonts.build(settings.FONTS)
    settings.PUBLIC_URL = live_server.url
    return str(live_server.url)


class Inspector:
    """Looks at pages in one window, by day and by night and at both widths, and notes what is wrong."""

    def __init__(self, context: BrowserContext, home: str, complaints: Complaints) -> None:
        self.page, self.home, self.complaints = context.new_page(), home, complaints
        self.wrong: list[str] = []

    def look(self, path: str, *, status: int = 200) -> None:
        self.page.emulate_media(color_scheme="light")
        self.page.set_viewport_size(LAPTOP)
        answer = self.page.goto(self.home + path)
        assert answer is not None
        assert answer.status == status, (path, answer.status)
        self.look_here(path)

    def look_here(self, name: str, rules: list[str] | None = None) -> None:
        """The page as it stands, by all of axe's rules or these."""
        page = self.page
        page.evaluate("document.querySelectorAll('details').forEach(one => one.open = true)")
        page.evaluate(AXE_SCRIPT)
        assert page.evaluate("axe.version") == AXE_VERSION
        for size in (LAPTOP, PHONE):
            page.set_viewport_size(size)
            for scheme in ("light", "dark"):
                page.emulate_media(color_scheme=scheme)
                found = page.evaluate(_RUN, _COLOURS if scheme == "dark" else rules)
                self.wrong += [f"{name}, {size['width']} px, {scheme}: {one}" for one in found]
            try:
                no_sideways(page)
            except AssertionError as error:
                self.wrong.append(str(error))
        self.wrong += [f"{name}: {one}" for one in page.evaluate(_LOOSE)]
        self.wrong += [f"{name}, 390 px: {one}" for one in page.evaluate(_SMALL)]
        page.emulate_media(color_scheme="light")
        page.set_viewport_size(LAPTOP)

    def done(self) -> None:
        wrong = [*self.wrong, *self.complaints.said]
        assert not wrong, f"{len(wrong)} things:\n" + "\n".join(wrong)


@pytest.fixture
def inspect(browser: Browser, home: str, complaints: Complaints) -> Iterator[Callable[..., Inspector]]:
    opened: list[BrowserContext] = []

    def start(session: Session | None = None) -> Inspector:
        context = at_width(browser, LAPTOP, complaints, reduced_motion="reduce")
        opened.append(context)
        if session is not None:
            key = session.cookies[settings.SESSION_COOKIE_NAME].value
            context.add_cookies([{"name": settings.SESSION_COOKIE_NAME, "value": key, "url": home}])
        return Inspector(context, home, complaints)

    yield start
    for context in opened:
        context.close()


def not_looked_at(space: str, seen: set[str]) -> set[str]:
    """The names of the addresses of one side that were not opened, though a page comes by GET."""
    return {pattern.name or "?" for _, pattern in addresses(space) if not _only_pressed(pattern)} - seen


def _only_pressed(pattern: URLPattern) -> bool:
    return pattern.name in {
        # presses without a page of their own
        *("move", "quote-sums", "quote-send", "sign-out", "work-again", "tell-done", "email-again"),
        *("link-revoke", "answered-elsewhere", "accept", "decline-quote", "withdraw", "visit-cancel"),
        *("price-begin", "price-use", "visit-offer", "let-rest", "client-emails", "commission-reminders"),
        *("nothing-to-answer", "note", "note-away", "quick-answer-away"),
        *("close-change", "change-noted", "accept-change", "decline-change"),
        *("wording-back", "arrival-place", "arrival-let-go", "arrival-back", "arrival-take-out"),
        *("address-alive", "email-tell", "mailbox-now", "pause-now"),
        # files, and the door that leads on
        *("picture", "document", "visit-ics", "email-enclosed", "enter", "price-sheet-out"),
        "arrival-raw",
    }


class Walk:
    """Opens addresses by name and remembers which."""

    def __init__(self, inspector: Inspector, space: str) -> None:
        self.inspector, self.space = inspector, space
        self.seen: set[str] = set()

    def open(self, name: str, *args: Any, query: str = "", status: int = 200) -> None:
        self.seen.add(name)
        self.inspector.look(reverse(f"{self.space}:{name}", args=args) + query, status=status)

    def mistake(self, path: str, field: str = "", typed: str = "", press: str = "", lands: str = "") -> None:
        """Press with something wrong in this field (the first one), and look at the page that says so, which
        comes from the same address, or `lands` below it."""
        page = self.inspector.page
        page.goto(self.inspector.home + path)
        page.evaluate("document.querySelectorAll('form').forEach(one => one.noValidate = true)")
        page.evaluate("document.querySelectorAll('details').forEach(one => one.open = true)")
        wrong = page.locator(field or "main input[type=text], main textarea")
        if wrong.count():
            wrong.first.fill(typed)
        presses = page.locator("main .presses button.press")
        with page.expect_navigation():
            (presses.filter(has_text=press) if press else presses).last.click()
        assert page.url.endswith(path + lands), (path, page.url)
        assert page.locator("main .wrong, main .err").count() > 0, path
        self.inspector.look_here(f"{path} with a mistake")

    book = frozenset(name for name in not_looked_at("desk", set()) if name.startswith("price"))
    """The pages of the price book, which have a test of their own."""
    tray = frozenset({"tray", "arrival", "request-from-email"})
    """Those of what came in, likewise."""
    words = frozenset({"wordings", "wording"})
    """Those of what the emails say, likewise."""


def test_the_desk(world: World, desk: Session, inspect: Callable[..., Inspector]) -> None:
    walk = Walk(inspect(desk), "desk")
    for name in ("today", "commissions", "new-request", "shop", "openings", "reminders", "emails"):
        walk.open(name)
    walk.open("commissions", query="?q=nobody+of+that+name")
    for query in ("", "?q=Brask", "?q=nobody+of+that+name"):
        walk.open("conversations", query=query)
    walk.open("quick-answers")
    walk.open("quick-answer-new")
    walk.open("quick-answer", world.quick)
    walk.open("answer", world.without_email)
    walk.open("commission", world.without_email)
    for stage, commission in world.at.items():
        walk.open("commission", commission.number)
        if stage in ("requested", "begun", "quoted", "agreed", "reckoned", "chosen between", "run out"):
            walk.open("quote", commission.number)
    number = world.number
    walk.open("quote-revision", number("quoted"), 1)
    walk.open("quote-revision", number("quoted"), 2)
    walk.open("quote-revision", number("begun"), 1)
    walk.open("quote-revision", number("withdrawn"), 1)
    walk.open("record-acceptance", number("quoted"))
    walk.open("decline", number("requested"))
    for stage in ("quoted", "requested", "agreed"):
        walk.open("record-no", number(stage))
    for name in ("answer", "link", "docket", "client", "pictures"):
        walk.open(name, number("requested"))
    walk.open("piece", number("requested"), 1)
    walk.open("payment", number("agreed"))
    walk.open("payment", number("collected"))
    walk.open("let-off", number("agreed"))
    walk.open("refund", number("ready"))
    assert world.entry is not None
    walk.open("reverse", number("ready"), world.entry.pk)
    walk.open("check-in", number("booked"))
    walk.open("hold", number("in work"))
    walk.open("cancel", number("booked"))
    walk.open("cancel", number("quoted"))
    walk.open("sample", number("wanted again"))
    walk.open("progress", number("in work"))
    walk.open("visit", number("booked"), "drop-off")
    walk.open("visit", number("dropping off"), "drop-off")
    walk.open("visit", number("fetching"), "pickup")
    for stage in ("to be looked at", "looked at", "requested", "in work"):
        walk.open("visit", number(stage), "site-visit")
    for stage in ("requested", "ballpark", "quoted"):
        walk.open("ballpark", number(stage))
    for stage in ("run out", "quoted"):
        walk.open("still-interested", number(stage))
    for stage in ("in work", "changed", "requested", "collected"):
        walk.open("propose-change", number(stage))
    for change in (1, 2, 3, 4, 5):
        walk.open("change", number("changed"), change)
    for stage in ("agreed", "in work", "changed", "ready", "cancelled", "requested"):
        walk.open("invoice", number(stage))
    assert world.told is not None
    for email in (world.told, Email.objects.get(state="failed"), Email.objects.filter(kind="quote")[0]):
        walk.open("email", email.pk)
    for kind in sorted(set(Email.objects.values_list("kind", flat=True))):
        walk.seen.add("email-html")
        address = reverse("desk:email-html", args=[Email.objects.filter(kind=kind).latest("pk").pk])
        # As a mail program shows it: the desk's own page of it lets no script run, and so not axe either.
        walk.inspector.page.goto("about:blank")
        walk.inspector.page.set_content(desk.get(address).content.decode())
        walk.inspector.look_here(f"the email {kind}", _WCAG)
    # Forms that come back with what is wrong.
    for path in (
        reverse("desk:new-request"),
        reverse("desk:hold", args=[number("in work")]),
        reverse("desk:piece", args=[number("requested"), 1]),
        reverse("desk:pictures", args=[number("requested")]),
        reverse("desk:record-no", args=[number("quoted")]),
        reverse("desk:sample", args=[number("wanted again")]),
        reverse("desk:progress", args=[number("in work")]),
        reverse("desk:payment", args=[number("agreed")]),
        reverse("desk:propose-change", args=[number("in work")]),
        reverse("desk:invoice", args=[number("changed")]),
    ):
        walk.mistake(path)
    walk.mistake(reverse("desk:change", args=[number("changed"), 5]), press="Write it down")
    answer = reverse("desk:answer", args=[number("requested")])
    walk.mistake(answer, "[name='text']", "Ready {ready_date}.", "Send", lands="#write")
    walk.mistake(answer, "[name='text']", "Words", "Put it in", lands="#write")
    walk.inspector.page.goto(walk.inspector.home + answer)
    with walk.inspector.page.expect_navigation():
        walk.inspector.page.get_by_role("button", name="Keep the note").click()
    expect(walk.inspector.page.locator("#notes .err")).to_have_text("Please fill this in.")
    walk.inspector.look_here("a note without words")
    walk.mistake(reverse("desk:quick-answer-new"), "[name='text']", "On {no_such_day}.", "Keep")
    walk.mistake(reverse("desk:still-interested", args=[number("run out")]), press="Send")
    walk.mistake(reverse("desk:ballpark", args=[number("requested")]), "[name='low']", "a lot", "Send it")
    walk.mistake(reverse("desk:client", args=[number("requested")]), "[name='name']", "", press="Keep")
    walk.mistake(reverse("desk:shop"), "[name='iban']", "DE00 1234", "Keep")
    assert not_looked_at("desk", walk.seen) - walk.tray - walk.words == {
        "sign-in",
        "set-up",
        "sample-answer",
        *walk.book,
    }
    walk.inspector.done()


def test_what_the_emails_say(
    world: World, desk: Session, as_owner: Who, inspect: Callable[..., Inspector]
) -> None:
    own.keep("collected", "Good bye, {pieces}", "It was *good*.\n\n[Come back]({page})", None, as_owner)
    OwnWords.objects.create(
        kind="booked", subject="{gone}", body="{page}", changed_at=timezone.now()
    )  # as an older Shopdesk may have kept it
    walk = Walk(inspect(desk), "desk")
    walk.open("wordings")
    for kind in ("quote", "collected", "booked", "receipt", "together"):
        walk.open("wording", kind)
    here = reverse("desk:wording", args=["quote"])
    walk.mistake(here, "[name='body']", "Only {totl} and no [link]{page}", "Keep")
    # What is typed is seen beside it at once, and what is wrong is said over what was seen last.
    page = walk.inspector.page
    page.goto(walk.inspector.home + here)
    letter = page.frame_locator("#preview iframe")
    page.locator("[name='subject']").fill("Your desk, {name}")
    expect(page.locator("#preview .subject")).to_contain_text("Your desk, Ottoline Brask")
    with page.expect_response(lambda answer: answer.request.method == "POST"):
        page.locator("[name='body']").fill("{totl}")
    expect(page.locator("#wrong")).to_contain_text("Did you mean {total}?")
    expect(letter.locator("body")).to_contain_text("good until")
    walk.inspector.look_here("words that are being typed")
    walk.inspector.done()


def test_the_price_book(world: World, desk: Session, inspect: Callable[..., Inspector]) -> None:
    walk = Walk(inspect(desk), "desk")
    book = world.book
    for name in ("prices", "price-rates", "price-steps", "price-materials", "price-tools"):
        walk.open(name)
    for kind in ("schedule", "step", "material", "tool"):
        walk.open(f"price-{kind}-new")
        walk.open(f"price-{kind}", book.full[kind])
        walk.open(f"price-{kind}", book.retired[kind])
    walk.open("price-schedule", Schedule.objects.exclude(pk=book.retired["schedule"]).order_by("pk")[0].pk)
    for kind in ("materials", "steps"):
        walk.open("price-sheet-in", kind)
    for sheet in book.files.values():
        walk.open("price-sheet", sheet.key)
    walk.mistake(reverse("desk:price-rates"), "[name='wanted_hourly']", "a fair wage")
    walk.mistake(reverse("desk:price-schedule-new"), "[name='name']", "")
    walk.mistake(reverse("desk:price-schedule", args=[book.full["schedule"]]), "[name$='-coats']", "99")
    for kind, field in (
        ("step", "minutes_per_m2"),
        ("material", "volume_solids_percent"),
        ("tool", "cup_ml"),
    ):
        walk.mistake(reverse(f"desk:price-{kind}-new"), f"[name='{field}']", "quite some")
        row = reverse(f"desk:price-{kind}", args=[book.full[kind]])
        walk.mistake(row, "[name='name']", "", press="Keep")
    page, path = walk.inspector.page, reverse("desk:price-sheet-in", args=["materials"])
    page.goto(walk.inspector.home + path)
    page.locator("input[type=file]").set_input_files(
        {"name": "materials.csv", "mimeType": "text/csv", "buffer": FAULTY.encode()}
    )
    with page.expect_navigation():
        page.get_by_role("button", name="Look at it first").click()
    expect(page.locator("main .wrong")).to_contain_text("Line 2")
    walk.inspector.look_here("a file with mistakes")
    Shop.objects.update(currency="EUR")
    walk.open("prices")
    assert not_looked_at("desk", walk.seen) & walk.book == set()
    walk.inspector.done()


def test_what_came_in_and_what_came_back(
    commission: Commission,
    as_owner: Who,
    arrive: Arrive,
    desk: Session,
    work: Callable[[], None],
    inspect: Callable[..., Inspector],
) -> None:
    walk = Walk(inspect(desk), "desk")
    walk.open("tray")
    walk.open("tray", query="?aside")
    say_to_client(commission, "Shall I keep the knobs?", as_owner)
    work()
    question = Email.objects.get(thread=f"commission {commission.pk}")
    long = f"{LONG}\n\n" * 12
    trayed = [
        arrive("Keep them.", sender="Otto <else@example.com>", answers=question),
        arrive(long, sender=f"{'Ottoline ' * 12}<{'o' * 60}@example.com>", subject=LONG[:200]),
        arrive(
            f"Done.\n\nOn Mon, 23 Nov 2026 at 10:00, Tidewell Bench wrote:\n> {long}",
            to=reply_address(f"commission {commission.pk} shop"),
            attached=[("plan.pdf", "application/pdf", b"%PDF-1.7" + b"x" * 4000)],
        ),
        arrive("", sender="", subject=""),
        came(dsn(question, message_id="<unknown@example.com>")),
    ]
    for one in trayed:
        walk.open("arrival", one.pk)
    walk.open("arrival", trayed[1].pk, query="?q=desk")
    walk.open("arrival", trayed[1].pk, query="?q=nobody+of+that+name")
    for one in (trayed[1], trayed[2]):
        walk.open("request-from-email", one.pk)
    walk.mistake(reverse("desk:request-from-email", args=[trayed[2].pk]), "[name='wish']", "")
    (settings.ARRIVALS / trayed[3].path).unlink()
    walk.open("arrival", trayed[3].pk)
    let_go(trayed[0])
    placed = arrive("Yes.", answers=question)
    bounced = came(dsn(question, "5.1.2"))
    for one in (trayed[0], placed, bounced):
        walk.open("arrival", one.pk)
    say_to_client(commission, "Then I call you.", as_owner)
    for query in ("", "?aside"):
        walk.open("tray", query=query)
    for name in ("today", "emails"):
        walk.open(name)
    for name in ("commission", "client"):
        walk.open(name, commission.number)
    walk.open("email", question.pk)
    walk.open("email", Email.objects.get(way=Email.Way.TELL).pk)
    assert walk.tray <= walk.seen
    walk.inspector.done()


def test_a_price_book_with_nothing_in_it(
    shop: Shop, desk: Session, inspect: Callable[..., Inspector]
) -> None:
    walk = Walk(inspect(desk), "desk")
    for name in ("prices", "price-rates", "price-steps", "price-materials", "price-tools"):
        walk.open(name)
    walk.mistake(reverse("desk:price-sheet-in", args=["steps"]), press="Look at it first")
    walk.inspector.done()


def test_the_desk_with_nothing_on_it(shop: Shop, desk: Session, inspect: Callable[..., Inspector]) -> None:
    walk = Walk(inspect(desk), "desk")
    for name in ("today", "commissions", "emails", "openings"):
        walk.open(name)
    walk.inspector.look("/desk/c/26-999/", status=404)
    walk.inspector.done()


def test_what_is_switched_off(
    world: World,
    desk: Session,
    portal: Session,
    as_owner: Who,
    as_client: Who,
    client_person: Client,
    inspect: Callable[..., Inspector],
) -> None:
    ready, quoted = world.at["ready"], world.at["running out"]
    for whose in ({}, {"client": client_person}, {"commission": ready}):
        switch_kind("settling-in", on=False, who=as_owner, **whose)
    switch_kind("balance-due", on=False, who=as_owner, client=client_person)
    switch_kind("deposit-due", on=False, who=as_owner, commission=quoted)
    at_desk, at_theirs = Walk(inspect(desk), "desk"), Walk(inspect(portal), "portal")
    anybody = Walk(inspect(), "portal")
    tokens = [
        links.put_in(stopping.placeholder(grant_of(client_person), sort)).split("/")[-2]
        for sort in stopping.SORTS
    ]
    for step in range(2):
        at_desk.open("reminders")
        at_desk.open("client", ready.number)
        for commission in (ready, quoted):
            at_desk.open("commission", commission.number)
        at_theirs.open("emails")
        for token in tokens:
            anybody.open("stop", token)
        if step == 0:
            switch([client_person], "reminder", on=False, who=as_client)
            page = anybody.inspector.page
            with page.expect_navigation():
                page.get_by_role("button", name="No more").click()
            expect(page.locator("h1")).to_contain_text("Done.")
            anybody.inspector.look_here("stopped")
    anybody.open("stop", "1.news.x", status=404)
    for walk in (at_desk, at_theirs, anybody):
        walk.inspector.done()


def test_the_client_s_pages(world: World, portal: Session, inspect: Callable[..., Inspector]) -> None:
    walk = Walk(inspect(portal), "portal")
    walk.open("mine")
    for commission in world.at.values():
        walk.open("commission", commission.number)
    number = world.number
    walk.open("quote", number("quoted"))
    walk.open("quote-revision", number("quoted"), 1)
    walk.open("quote", number("agreed"))
    walk.open("quote", number("withdrawn"))
    walk.open("ask", number("requested"))
    walk.open("ask", number("quoted"))
    walk.open("sample-answer", number("in work"), world.sample)
    answered = Sample.objects.exclude(state=Sample.State.PROPOSED)
    for sample in answered.filter(piece__commission=world.at["in work"]):
        walk.open("sample-answer", number("in work"), sample.pk)
    walk.open("visit", number("booked"), "drop-off")
    walk.open("visit", number("dropping off"), "drop-off")
    walk.open("visit", number("requested"), "pickup")
    walk.open("visit", number("ready"), "pickup")
    walk.open("visit", number("fetching"), "pickup")
    for stage in ("to be looked at", "looked at", "in work"):
        walk.open("visit", number(stage), "site-visit")
    for stage in ("chosen between", "running out", "run out"):
        walk.open("quote", number(stage))
    for change in (1, 2, 3, 4, 5):
        walk.open("change", number("changed"), change)
    walk.mistake(
        reverse("portal:change", args=[number("changed"), 5]), press="Accept this change", lands="accept/"
    )
    page = walk.inspector.page
    page.goto(walk.inspector.home + reverse("portal:quote", args=[number("quoted")]))
    page.locator("[name='name']").fill("")
    with page.expect_navigation():
        page.get_by_role("button", name="Accept this quote").click()
    walk.inspector.look_here("accepting without a name")
    page.goto(walk.inspector.home + reverse("portal:ask", args=[number("quoted")]))
    with page.expect_navigation():
        page.get_by_role("button", name="Send", exact=True).click()
    walk.inspector.look_here("asking nothing")
    assert not_looked_at("portal", walk.seen) == {"front", "fresh-link", "stop", "emails"}
    walk.inspector.done()


def test_the_public_pages(shop: Shop, owner: User, inspect: Callable[..., Inspector]) -> None:
    inspector = inspect()
    for path in ("/request/", "/fresh-link/", "/desk/sign-in/"):
        inspector.look(path)
    inspector.look("/nowhere/", status=404)
    inspector.look("/in/1.nonsense/")
    page = inspector.page
    page.goto(inspector.home + "/request/")
    page.locator("[name='piece0-width']").evaluate("one => { one.closest('details').open = true }")
    page.locator("[name='piece0-width']").fill("as wide as a door")
    with page.expect_navigation():
        page.get_by_role("button", name="Send the request").first.click()
    inspector.look_here("a request with mistakes")
    page.goto(inspector.home + "/desk/sign-in/")
    page.locator("[name='email']").fill("somebody@example.com")
    page.locator("[name='password']").fill("not the one")
    with page.expect_navigation():
        page.locator("main .presses button").click()
    inspector.look_here("a wrong password")
    page.goto(inspector.home + "/fresh-link/")
    page.locator("[name='email']").fill("somebody@example.com")
    with page.expect_navigation():
        page.locator("main .presses button").click()
    inspector.look_here("a fresh link on its way")
    inspector.done()


def test_the_inspector_has_eyes(db: None, inspect: Callable[..., Inspector]) -> None:
    """What this file looks for is found where it is."""
    inspector = inspect()
    page = inspector.page
    page.goto("about:blank")
    page.set_content(
        "<html lang=en><title>Wrong</title><main><h1>Wrong</h1><img src='data:,'><p class=pale>Pale</p>"
        "<style>.pale { color: #ccc } @media (prefers-color-scheme: dark) { .pale { color: #000 } }"
        " html { background: #fff } @media (prefers-color-scheme: dark) { html { background: #111 } }</style>"
        "<form method=post></form><button>Loose</button><div style='width: 700px'>Wide</div></main>"
    )
    inspector.look_here("wrong")
    said = "\n".join(inspector.wrong)
    assert "image-alt" in said
    for scheme in ("light", "dark"):
        assert re.search(f"390 px, {scheme}: color-contrast", said), said
    assert "px wide in a window of 390" in said
    assert "holds 0 tokens" in said
    assert "“Loose” belongs to no form" in said
    assert "<button>Loose</button> is" in said


def test_before_there_is_a_shop(inspect: Callable[..., Inspector]) -> None:
    inspector = inspect()
    inspector.look("/desk/set-up/")
    inspector.look("/request/", status=503)
    inspector.page.goto(inspector.home + "/desk/set-up/")
    with inspector.page.expect_navigation():
        inspector.page.get_by_role("button", name="Open the shop").click()
    inspector.look_here("set up with nothing typed")
    inspector.done()


# -- without JavaScript --------------------------------------------------------------------------------------


@pytest.fixture
def plain(browser: Browser, home: str, complaints: Complaints) -> Iterator[Page]:
    """A phone whose browser runs no scripts."""
    context = at_width(browser, PHONE, complaints, java_script_enabled=False)
    yield context.new_page()
    context.close()
    assert complaints.said == []


def press(page: Page, words: str) -> None:
    with page.expect_navigation():
        page.get_by_role("button", name=words, exact=True).first.click()


def test_a_request_without_javascript(
    plain: Page, home: str, shop: Shop, picture_file: MakePicture, tmp_path: Any
) -> None:
    photo = tmp_path / "front.jpg"
    photo.write_bytes(picture_file("front.jpg", (900, 700)).read())
    plain.goto(f"{home}/request/")
    plain.locator("[name='piece0-name']").fill("walnut bureau")
    plain.locator("[name='wish']").fill("Its old warmth back.")
    plain.locator("#photos").set_input_files(photo)
    press(plain, "Add the chosen pictures")
    expect(plain.locator(".shot")).to_have_count(1)
    expect(plain.locator("[name='wish']")).to_have_value("Its old warmth back.")
    press(plain, "Add another piece")
    plain.locator("[name='piece1-name']").fill("mirror")
    plain.locator("[name='name']").fill("Ismay Thorne")
    press(plain, "Send the request")
    expect(plain.locator("main")).to_contain_text("Leave an email address or a phone number")
    plain.locator("[name='phone']").fill("555-0177")
    press(plain, "Send the request")
    expect(plain.locator("main")).to_contain_text("Thank you, Ismay Thorne")
    commission = Commission.objects.get()
    assert [piece.name for piece in commission.pieces.all()] == ["walnut bureau", "mirror"]
    assert commission.shots.count() == 1


def test_the_client_s_answers_without_javascript(
    plain: Page, home: str, client_person: Client, as_owner: Who, picture_file: MakePicture,
    work: Callable[[], None],
) -> None:  # fmt: skip
    builder = Builder(client_person, as_owner, picture_file, work)
    quoted, booked = builder.quoted("card cabinet"), builder.booked("sideboard")
    bench = builder.on_the_bench("bookcase", sample_promised=True)
    builder.propose(bench, "Slipway brown")

    plain.goto(link(grant_of(client_person), f"/my/{quoted.number}/"))
    with plain.expect_navigation():
        plain.get_by_role("link", name="Read the quote").click()
    plain.get_by_label(re.compile("New brass knobs")).check()
    press(plain, "Show the new total")
    shown = plain.locator("#sums").inner_text()
    plain.get_by_label(re.compile("Inside left")).check()  # and she changes her mind once more
    plain.locator("[name='name']").fill("Ottoline Brask")
    plain.locator("[name='terms']").check()
    press(plain, "Accept this quote")
    expect(plain.locator("main")).to_contain_text("With what you ticked the total is another one")
    assert plain.locator("#sums").inner_text() != shown
    assert not Acceptance.objects.filter(quote__commission=quoted).exists()
    plain.locator("[name='terms']").check()
    press(plain, "Accept this quote")
    expect(plain.locator("main")).to_contain_text("It is agreed")
    acceptance = Acceptance.objects.get(quote__commission=quoted)
    assert acceptance.options.count() == 2
    quoted.refresh_from_db()
    assert quoted.stage == Stage.AGREED

    plain.goto(f"{home}/my/{bench.number}/")
    with plain.expect_navigation():
        plain.get_by_role("link", name="Look at the sample").click()
    plain.locator("[name='name']").fill("Ottoline Brask")
    press(plain, "This is the one")
    assert Sample.objects.get().state == Sample.State.APPROVED

    plain.goto(f"{home}/my/{booked.number}/")
    with plain.expect_navigation():
        plain.get_by_role("link", name="Choose a time", exact=True).click()
    slot = plain.locator("[name='start']").nth(3)
    start = slot.get_attribute("value")
    plain.locator("label.slot").nth(3).click()
    press(plain, "Book this time")
    expect(plain.locator("main")).to_contain_text("Booked:")
    assert start is not None
    assert Visit.objects.get().starts_at == datetime.fromisoformat(start)
