"""How many SQL statements each page takes, with few commissions and with many."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass
from typing import Any
from uuid import UUID

from django.db import connection
from django.db.models import Model
from django.test import Client as Browser
from django.test.utils import CaptureQueriesContext
from django.urls import NoReverseMatch, URLPattern, URLResolver, get_resolver, reverse

from shopdesk.changes.models import Change
from shopdesk.clients.access import link
from shopdesk.clients.models import Client
from shopdesk.clients.queries import grant_of
from shopdesk.colours.models import Sample
from shopdesk.commissions.models import Commission, Letter, Shot
from shopdesk.deposits.models import Entry, Receipt
from shopdesk.mail.models import Enclosure
from shopdesk.pricebook.models import Equipment, Material, Schedule, Sheet, StepRate
from shopdesk.quotes.models import Quote
from shopdesk.running.measures.world import FIRST, World
from shopdesk.shop.models import User

Counts = dict[str, int]
"""Statements by page: "desk:quote, 26-003"."""


@dataclass(frozen=True)
class Page:
    """One page with few commissions and with many: the most that it took at any of the commissions it was
    asked for, and whether each of those took the same both times."""

    name: str
    few: int
    many: int
    same: bool


def signed_in(owner: User) -> Browser:
    browser = Browser()
    browser.force_login(owner)
    return browser


def let_in(client: Client) -> Browser:
    browser = Browser()
    answer = browser.get(link(grant_of(client), "/my/"))
    assert answer.status_code == 302, "the client's own link opens the door"
    return browser


def count(world: World, *, commissions: int = FIRST) -> Counts:
    """Ask for every page there is, for each of the first `commissions`, and count what each takes. An
    address that does not show a page there (it wants a press, or the quote is not written) is left out."""
    desk = signed_in(world.owner)
    counts: Counts = {}
    for number in world.numbers[:commissions]:
        commission = Commission.objects.select_related("client").get(number=number)
        client = let_in(commission.client)
        for side, browser in (("desk", desk), ("portal", client), ("intake", Browser())):
            for label, address in _addresses(side, commission, whole_shop=number == world.numbers[0]):
                status, statements = _asked(browser, address)
                if status == 200:
                    counts[label] = statements
    return counts


def compared(few: Counts, many: Counts) -> list[Page]:
    """The two, page by page. Raises `AssertionError` when not the same pages were there."""
    assert few.keys() == many.keys(), sorted(few.keys() ^ many.keys())
    pages: dict[str, list[str]] = {}
    for label in few:
        pages.setdefault(label.partition(",")[0], []).append(label)
    return [
        Page(
            name,
            max(few[label] for label in labels),
            max(many[label] for label in labels),
            all(few[label] == many[label] for label in labels),
        )
        for name, labels in sorted(pages.items())
    ]


def _asked(browser: Browser, address: str) -> tuple[int, int]:
    with CaptureQueriesContext(connection) as caught:
        answer = browser.get(address)
        answer.getvalue()  # a streamed one is read to its end
    return answer.status_code, len(caught)


def _addresses(side: str, commission: Commission, *, whole_shop: bool) -> Iterator[tuple[str, str]]:
    """Every address of a side with this commission's values in it; with `whole_shop` also those that are of
    no commission. Labels are "desk:quote, 26-003"."""
    for pattern in _patterns(get_resolver().url_patterns, side):
        names = list(pattern.pattern.converters)
        if not whole_shop and (not names or _of_the_book(pattern.name)):
            continue
        if pattern.name is None or (pattern.name == "enter"):
            continue
        for values in _filled(pattern.name, names, commission):
            try:
                address = reverse(f"{side}:{pattern.name}", kwargs=values)
            except NoReverseMatch:
                continue
            shown = [str(value) for name, value in values.items() if name in ("kind", "size")]
            name = " ".join([f"{side}:{pattern.name}", *shown])
            yield (f"{name}, {commission.number}" if names else name), address


def _of_the_book(page: str | None) -> bool:
    """Whether a page belongs to the price book: those are the shop's, whatever commission there is."""
    return page is not None and page.startswith("price")


def _patterns(patterns: list[Any], side: str, space: str = "") -> Iterator[URLPattern]:
    for pattern in patterns:
        if isinstance(pattern, URLResolver):
            yield from _patterns(pattern.url_patterns, side, pattern.namespace or space)
        elif space == side:
            yield pattern


def _filled(page: str, names: list[str], commission: Commission) -> Iterator[dict[str, Any]]:
    """Values for the names in an address, from the commission's own rows. Nothing when it has no such row."""
    values: dict[str, Any] = {"number": commission.number, "size": "small"}
    for name in names:
        if name not in values and name != "kind":
            found = _one(page, name, commission)
            if found is None:
                return
            values[name] = found
    kinds = _KINDS.get(page.partition("-")[0], ("document",))
    for kind in kinds if "kind" in names else ("",):
        yield {name: kind if name == "kind" else values[name] for name in names}


def _one(page: str, name: str, commission: Commission) -> int | str | UUID | None:
    found = _FINDS.get((page, name)) or _FINDS.get(("", name))
    return found(commission) if found else None


def _email(commission: Commission) -> int | None:
    enclosures = Enclosure.objects.filter(
        email__in=Letter.objects.filter(commission=commission).values("email")
    )
    carrying: int | None = (
        enclosures.exclude(text="").values_list("email_id", flat=True).order_by("pk").first()
    )
    first: int | None = (
        Letter.objects.filter(commission=commission).values_list("email_id", flat=True).order_by("pk").first()
    )
    return carrying or first


def _enclosure(commission: Commission) -> int | None:
    email = _email(commission)
    found = Enclosure.objects.filter(email__in=[] if email is None else [email])
    return found.order_by("pk").values_list("pk", flat=True).first()


def _first(of_the_book: type[Model]) -> Any:
    return of_the_book._default_manager.order_by("pk").values_list("pk", flat=True).first()


_KINDS = {"visit": ("drop-off", "pickup", "site-visit"), "price": ("materials", "steps")}
"""What `kind` can be in an address, by the first word of its name."""
_FINDS: dict[tuple[str, str], Callable[[Commission], Any]] = {
    ("", "revision"): lambda of: (
        Quote.objects.filter(commission=of).values_list("revision", flat=True).first()
    ),
    ("", "sample_id"): lambda of: (
        Sample.objects.filter(piece__commission=of).order_by("-pk").values_list("pk", flat=True).first()
    ),
    ("", "entry_id"): lambda of: (
        Entry.objects.filter(account__commission=of).values_list("pk", flat=True).first()
    ),
    ("", "change"): lambda of: (
        Change.objects.filter(commission=of).order_by("-number").values_list("number", flat=True).first()
    ),
    ("price-schedule", "pk"): lambda of: _first(Schedule),
    ("price-step", "pk"): lambda of: _first(StepRate),
    ("price-material", "pk"): lambda of: _first(Material),
    ("price-tool", "pk"): lambda of: _first(Equipment),
    ("price-sheet", "key"): lambda of: _first(Sheet),
    ("", "email_id"): _email,
    ("", "enclosure_id"): _enclosure,
    ("picture", "key"): lambda of: (
        Shot.objects.filter(commission=of).values_list("picture__key", flat=True).first()
    ),
    ("document", "key"): lambda of: (
        Receipt.objects.filter(entry__account__commission=of).values_list("document__key", flat=True).first()
    ),
    ("thanks", "key"): lambda of: UUID(int=of.pk),
}
