"""The measurements themselves: each measures what it says, and nothing of them stays behind."""

from __future__ import annotations

import io
import os
import re
import subprocess
import sys
import time as clock
from datetime import time
from pathlib import Path

import pytest
from django.db import connection
from django.test import Client as Browser
from django.urls import reverse
from PIL import Image

from shopdesk.commissions.models import Commission
from shopdesk.documents.models import Document
from shopdesk.mail.models import Email, Turn
from shopdesk.photos import renditions
from shopdesk.running.management.commands.measure import SMALL_PHOTO, URLCONF
from shopdesk.running.measures import mail, pages, papers, pictures, quotes, world
from shopdesk.running.measures.timing import Ratio, in_turn, spent
from shopdesk.shop.models import Shop, User

ROOT = Path(__file__).resolve().parents[2]


def test_the_one_and_the_other_take_turns() -> None:
    calls: list[str] = []
    between: list[int] = []
    timed = in_turn(
        "turns",
        lambda: calls.append("app"),
        lambda: calls.append("bare"),
        goal=9,
        rounds=3,
        between=lambda: between.append(len(calls)),
    )
    assert sorted(calls) == ["app"] * 4 + ["bare"] * 4, "three rounds and one before them"
    assert calls[2:] in (
        ["app", "bare", "bare", "app", "app", "bare"],
        ["bare", "app", "app", "bare", "bare", "app"],
    )
    assert [calls[at] for at in between] == ["app"] * 4, "made ready right before each of the app's"
    assert timed.what == "turns"


def test_the_ratio_is_of_the_medians_and_in_between_is_not_counted() -> None:
    timed = in_turn(
        "sleep",
        lambda: clock.sleep(0.03),
        lambda: clock.sleep(0.01),
        goal=2,
        rounds=3,
        between=lambda: clock.sleep(0.2),
    )
    assert 0.03 <= timed.app < 0.15
    assert timed.ratio > 2
    assert not timed.ok
    assert Ratio("alike", 1.0, 1.0, goal=1.15).ok


def test_bare_pillow_makes_the_pictures_that_the_app_makes() -> None:
    photo = pictures.phone_photo(SMALL_PHOTO)
    with Image.open(io.BytesIO(photo)) as opened:
        assert opened.size == SMALL_PHOTO
        assert opened.info["icc_profile"], "without a profile there would be nothing to convert"
    bare = pictures.bare(photo)
    assert bare == {made.size: made.data for made in renditions.make(photo)}


@pytest.mark.django_db
def test_the_measured_renditions_are_done() -> None:
    timed = pictures.measure(rounds=1, size=(640, 480))
    assert timed.app > 0
    assert timed.bare > 0


@pytest.mark.django_db(transaction=True)  # each request closes its connection, as when it is served
@pytest.mark.urls(URLCONF)
def test_pages_and_papers_of_a_furnished_shop() -> None:
    made = world.furnish()
    client_page, front_page = pages.measure(made, rounds=2)
    assert client_page.ratio > 1, "a bare view does less"
    assert front_page.ratio > 1
    paper = papers.measure(made.fullest, rounds=1)
    assert paper.ratio > 0.5
    document = Document.objects.get(template="quote", title=f"Quote {made.numbers[0]}, revision 2")
    assert document.bytes > 10_000
    assert document.pages >= 1


def test_only_what_the_processor_does_is_counted() -> None:
    calls: list[str] = []

    def work() -> None:
        calls.append("work")
        clock.sleep(0.05)
        sum(number * number for number in range(30_000))

    found = spent("work", work, goal=0.04, rounds=3, between=lambda: calls.append("made ready"))
    assert calls == ["made ready", "work"] * 4, "three rounds and one before them"
    assert 0 < found.seconds < 0.04, "a wait is not the app's own time"
    assert found.ok
    assert not spent("work", work, goal=0, rounds=1).ok


@pytest.mark.django_db
def test_a_quote_of_sixty_lines_is_reckoned_and_printed(shop: Shop) -> None:
    owner = User.objects.create(email="runa@tidewell.example.com", name="Runa Castellan")
    commission = quotes.sixty_lines(owner)
    fields = quotes.posted(commission)
    names = [name for name, _ in fields]
    assert names.count("lines") == quotes.LINES
    assert names.count("pieces") == 5
    assert quotes.WIDTH in names, "the measurement types into it"
    figures = quotes.recalculation(commission, owner, rounds=2)
    assert figures.seconds > 0
    assert figures.goal == 0.02
    paper = quotes.paper(commission, owner, rounds=1)
    assert paper.goal == 1.15
    document = Document.objects.get(template="quote")
    assert sum(len(piece["lines"]) for piece in document.content["pieces"]) == quotes.LINES
    assert all(piece["picture_ref"] for piece in document.content["pieces"])
    assert document.pages > 1


def test_what_is_posted_is_what_a_browser_would_post(
    db: None, shop: Shop, owner: User, client: Browser
) -> None:
    """Against the page itself, field by field."""
    commission = quotes.sixty_lines(owner)
    client.force_login(owner)
    page = client.get(reverse("desk:quote", args=[commission.number])).content.decode()
    fields = re.findall(r'<(?:input|select|textarea)\b[^>]*?\bname="([^"]+)"[^>]*>', page)
    ticked = {
        name
        for tag, name in re.findall(r'(<input\b[^>]*?\bname="([^"]+)"[^>]*>)', page)
        if 'type="checkbox"' not in tag or " checked" in tag
    }
    drawn = {name for name in fields if name.startswith(("line-", "piece-", "option-", "est-"))}
    boxes = {name for name in drawn if f'type="checkbox" name="{name}"' in page}
    posted = {name for name, _ in quotes.posted(commission) if "-" in name}
    assert len(posted) > 500
    assert posted == {name for name in drawn if name not in boxes or name in ticked}


def test_emails_go_out_through_the_worker_and_through_the_bare_loop(commission: Commission) -> None:
    rate = mail.measure(commission, emails=4, rounds=1)
    assert Email.objects.filter(kind="question", state=Email.State.DONE).count() == 3 * 4, (
        "before, and two rounds"
    )
    assert rate.app > 0
    assert rate.bare > 0
    assert rate.goal == {"sqlite": 0.35, "postgresql": 0.2}[connection.vendor]
    assert mail.Rate("alike", 35.0, 100.0, 0.35).ok
    assert not mail.Rate("slow", 34.0, 100.0, 0.35).ok


@pytest.mark.parametrize(("quiet_from", "quiet_until"), [(time(0), time(0)), (time(0), time(23, 59, 59))])
def test_a_claim_is_all_that_a_short_run_asks_at_any_hour(
    shop: Shop, quiet_from: time, quiet_until: time, monkeypatch: pytest.MonkeyPatch
) -> None:
    Shop.objects.update(quiet_from=quiet_from, quiet_until=quiet_until)
    found: list[tuple[int, list[bool]]] = []
    look = mail.look

    def looked() -> None:
        look()
        under_way = Email.objects.filter(state=Email.State.UNDER_WAY).order_by("can_wait")
        found.append((Email.objects.count(), list(under_way.values_list("can_wait", flat=True))))

    monkeypatch.setattr(mail, "look", looked)
    claim = mail.claim(few=40, many=90, rounds=2)
    one_of_each = [False, True]
    assert found == [(40, one_of_each)] * 3 + [(90, one_of_each)] * 3
    assert claim.app > 0
    assert claim.bare > 0
    assert claim.goal == 1.5
    assert not Email.objects.filter(state=Email.State.UNDER_WAY).exists()
    assert not Turn.objects.exists()


def test_the_command_leaves_nothing_behind(tmp_path: Path) -> None:
    """It ends well, says which database it measured and each goal, and the shop's own folder has neither rows
    nor files of it."""
    var, scratch = tmp_path / "var", tmp_path / "scratch"
    scratch.mkdir()
    environment = {name: value for name, value in os.environ.items() if name not in ("REDIS_URL", "DEBUG")}
    ran = subprocess.run(
        [sys.executable, "manage.py", "measure", "--quick"],
        cwd=ROOT,
        env={**environment, "SHOPDESK_VAR": str(var), "TMPDIR": str(scratch)},
        capture_output=True,
        text=True,
        timeout=300,
        check=False,
    )
    assert ran.returncode == 0, ran.stderr
    for said in (
        "a quote's PDF",
        "≤ 1.15",
        "the client's page",
        "≤ 8",
        "a photo's renditions",
        "≤ 1.3",
        "desk:today",
        "the PDF of 60 lines",
        "60 lines, recalculated",
        "goal ≤ 20 ms",
    ):
        assert said in ran.stdout
    assert ran.stdout.startswith(f"On {connection.display_name} ")
    goal = f"{mail.SHARE[connection.vendor]:g}"
    for line in (
        rf"emails a second +\d+/s +\d+/s +\d+\.\d\d +≥ {re.escape(goal)}  (ok|over)",
        r"Finding the next email +of 2,000 +of 200 +ratio +goal",
        r"a claim among 2,000 +\d+\.\d ms +\d+\.\d ms +\d+\.\d\d +≤ 1\.5  (ok|over)",
    ):
        assert re.search(rf"^{line}$", ran.stdout, re.MULTILINE), line
    assert "with 20" in ran.stdout
    assert "with 60" in ran.stdout
    assert list(scratch.glob("shopdesk-measure-*")) == []
    assert not (var / "shop.sqlite3").exists()
    assert not (var / "pictures").exists()
    assert not (var / "documents").exists()
    assert list((var / "broker" / "in").iterdir()) == [], "no worker of the shop was told of it"
