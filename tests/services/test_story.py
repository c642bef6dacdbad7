"""The whole story over HTTP on PostgreSQL and Redis, with a Celery worker that is killed in the middle of a
picture, of a document and of an email: the next one does all of it, and nothing stays under way."""

from __future__ import annotations

import contextlib
import hashlib
import io
import os
import re
import signal
import subprocess
import sys
import uuid
from collections import Counter
from collections.abc import Iterator
from datetime import datetime
from http.client import HTTPResponse
from http.cookiejar import CookieJar
from pathlib import Path
from typing import Any
from urllib.parse import urlencode, urljoin
from urllib.request import HTTPCookieProcessor, HTTPErrorProcessor, Request, build_opener

import psycopg
import pypdf
import pytest
import vobject
from lxml import html
from psycopg import sql

from tests.conftest import MakePicture
from tests.postbox import Postbox, enclosed, free_port, in_one_thread, link_in, open_postbox
from tests.services.serving import ROOT, environment, manage, wait_for
from tests.story import CLIENT, CLIENT_KINDS, HELD, JOURNAL, SHOP, SHOP_KINDS

pytestmark = pytest.mark.services

WORKER = """
import functools, sys, time
from datetime import timedelta
import django
django.setup()
from shopdesk.documents import actions as documents
from shopdesk.mail import delivery, handing
from shopdesk.photos import actions as photos
from shopdesk.celery import app

delivery.LEASE = documents.LEASE = photos.LEASE = timedelta(seconds=4)  # minutes, in a shop

def slowly(do):
    @functools.wraps(do)
    def slow(*args, **kwargs):
        time.sleep(0.3)                        # long enough to be killed in
        return do(*args, **kwargs)
    return slow

photos.renditions.make = slowly(photos.renditions.make)
documents.render = slowly(documents.render)
handing.Line.hand_over = slowly(handing.Line.hand_over)
app.worker_main(["worker", "--beat", "--schedule", sys.argv[1], "--concurrency", "2", "--loglevel", "ERROR",
                 "--without-gossip", "--without-mingle"])
"""


class Shop:
    """Its database, its mail, and the processes that make it up."""

    def __init__(self, home: str, var: Path, told: dict[str, str], books: psycopg.Connection[Any]) -> None:
        self.home, self.var, self.told, self.books = home, var, told, books
        self._worker: subprocess.Popen[bytes] | None = None

    def start_worker(self) -> None:
        self._worker = subprocess.Popen(
            [sys.executable, "-c", WORKER, str(self.var / f"schedule-{uuid.uuid4().hex}")],
            cwd=ROOT,
            env=environment(self.var, self.told),
            start_new_session=True,
        )

    def kill_worker(self) -> None:
        """The worker and all that it started, with nothing said before."""
        if self._worker is not None:
            with contextlib.suppress(ProcessLookupError):
                os.killpg(self._worker.pid, signal.SIGKILL)
            self._worker.wait(10)
            self._worker = None

    def rows(self, query: str) -> list[tuple[Any, ...]]:
        return self.books.execute(query.encode()).fetchall()

    def under_way(self, table: str) -> int:
        query = sql.SQL("select count(*) from {} where state = 'under way'").format(sql.Identifier(table))
        row = self.books.execute(query).fetchone()
        assert row is not None
        return int(row[0])

    def kill_in_the_middle_of(self, table: str) -> None:
        """Let a worker begin with a row of that table, kill it there, and start the next one."""
        if self._worker is None:
            self.start_worker()
        wait_for(lambda: self.under_way(table), f"a worker is at {table}")
        self.kill_worker()
        assert self.under_way(table) >= 1, "it was quicker than the kill"
        self.start_worker()


class Calm(HTTPErrorProcessor):
    """A page with a mistake is a page: only redirects are followed, nothing is raised."""

    def http_response(self, request: Request, response: HTTPResponse) -> Any:
        if 300 <= response.status < 400:
            return super().http_response(request, response)
        return response


class Reader:
    """Somebody with a browser that reads HTML, fills in forms and presses buttons."""

    def __init__(self, home: str) -> None:
        self.home = self.url = home
        self._opener = build_opener(HTTPCookieProcessor(CookieJar()), Calm())
        self.status = 0
        self.data = b""

    def _open(self, request: Request) -> None:
        with self._opener.open(request, timeout=30) as answer:
            self.status, self.data, self.url = answer.status, answer.read(), answer.url

    def go(self, path: str) -> None:
        self._open(Request(urljoin(self.home, path)))  # noqa: S310  our own address
        assert self.status == 200, (path, self.status)

    @property
    def page(self) -> html.HtmlElement:
        return html.document_fromstring(self.data)

    def sees(self, words: str) -> None:
        text = " ".join(self.page.text_content().split())
        assert words in text, f"{self.url}: {words!r} is not in: {text}"

    def link(self, words: str) -> str:
        found = self.page.xpath("//a[contains(normalize-space(.), $words)]/@href", words=words)
        assert found, f"{self.url} has no link {words!r}"
        return urljoin(self.url, str(found[0]))

    def values(self, name: str) -> list[str]:
        return [str(value) for value in self.page.xpath("//input[@name=$name]/@value", name=name)]

    def press(
        self, words: str, fields: dict[str, Any] | None = None, files: list[tuple[str, Path]] | None = None
    ) -> None:
        """Fill in the form of the button that says `words`, and press it."""
        (button, *_) = self.page.xpath("//button[normalize-space(text()[1])=$words]", words=words)
        (form,) = button.xpath("ancestor::form[1]")
        said = [(name, value) for name, value in form.form_values() if name not in (fields or {})]
        for name, value in (fields or {}).items():
            assert form.xpath(".//*[@name=$name]", name=name), f"{words!r} has no field {name!r}"
            said += [(name, one) for one in (value if isinstance(value, list) else [value])]
        if button.get("name"):
            said.append((button.get("name"), button.get("value") or ""))
        address = urljoin(self.url, form.get("action") or self.url)
        if form.get("enctype") == "multipart/form-data":
            body, kind = multipart(said, files or [])
        else:
            assert not files
            body, kind = urlencode(said).encode(), "application/x-www-form-urlencoded"
        self._open(Request(address, data=body, headers={"Content-Type": kind}))  # noqa: S310  ours

    def pressed(self, words: str, *args: Any, **kwargs: Any) -> None:
        """`press`, and it went well."""
        self.press(words, *args, **kwargs)
        assert self.status == 200, (words, self.status, self.page.text_content())


def multipart(fields: list[tuple[str, str]], files: list[tuple[str, Path]]) -> tuple[bytes, str]:
    """RFC 7578."""
    boundary = uuid.uuid4().hex
    parts = [
        f'--{boundary}\r\nContent-Disposition: form-data; name="{name}"\r\n\r\n{value}\r\n'.encode()
        for name, value in fields
    ]
    for name, path in files:
        head = f'Content-Disposition: form-data; name="{name}"; filename="{path.name}"\r\n'
        parts.append(f"--{boundary}\r\n{head}Content-Type: image/jpeg\r\n\r\n".encode())
        parts.append(path.read_bytes() + b"\r\n")
    return b"".join([*parts, f"--{boundary}--\r\n".encode()]), f"multipart/form-data; boundary={boundary}"


@pytest.fixture
def postbox() -> Iterator[Postbox]:
    with open_postbox() as box:
        yield box


@pytest.fixture
def shop(var: Path, postgres_database: str, redis_url: str, postbox: Postbox) -> Iterator[Shop]:
    """The web server runs, the worker does not yet."""
    port = free_port()
    told = {
        "DATABASE_URL": postgres_database,
        "REDIS_URL": redis_url,
        "EMAIL_URL": postbox.url,
        "PUBLIC_URL": f"http://127.0.0.1:{port}",
        "DJANGO_SETTINGS_MODULE": "shopdesk.settings",
        "DEBUG": "1",  # pages without gathering static files first
        "SWEEP_SECONDS": "1",
        "MAIL_GATHER_SECONDS": "1",
        "LOG_LEVEL": "ERROR",
    }
    made = manage(var, "migrate", "--verbosity", "0", **told)
    assert made.returncode == 0, made.stderr
    web = subprocess.Popen(
        [
            *(sys.executable, "-m", "gunicorn", "shopdesk.wsgi:application", "--no-control-socket"),
            *("--bind", f"127.0.0.1:{port}", "--worker-class", "gthread", "--threads", "4"),
        ],
        cwd=ROOT,
        env=environment(var, told),
        stderr=subprocess.DEVNULL,
    )
    with psycopg.connect(postgres_database, autocommit=True) as books:
        running = Shop(told["PUBLIC_URL"], var, told, books)
        try:
            wait_for(lambda: answers(running.home), "the web server answers")
            yield running
        finally:
            running.kill_worker()
            web.terminate()
            web.wait(20)


def answers(home: str) -> bool:
    try:
        Reader(home).go("/desk/set-up/")
    except OSError:
        return False
    return True


def set_up(shop: Shop, owner: Reader) -> None:
    asked = "from shopdesk.shop.actions import new_setup_code; print('code', new_setup_code())"
    said = manage(shop.var, "shell", "-c", asked, **shop.told).stdout
    code = re.search(r"^code (\S+)$", said, re.MULTILINE)
    assert code, said
    owner.go("/desk/")
    who = {
        "code": code[1],
        "owner": "Runa Castellan",
        "login": "runa@tidewell.example.com",
        "password": "slip lane and turpentine",
        "password_again": "slip lane and turpentine",
    }
    facts = {
        "name": "Tidewell Bench",
        "address": "8 Slip Lane\nPort Marrin",
        "email": SHOP,
        "phone": "555-0118",
        "zone": "America/New_York",
        "locale": "en_US",
        "currency": "USD",
        "tax_name": "Sales tax",
        "tax_rate": "6.25",
        "deposit_share": "50",
    }
    owner.pressed("Open the shop", who | facts)
    owner.sees("Nothing waits for you")
    owner.go("/desk/shop/")  # at whatever hour this is played
    owner.pressed("Keep", {"quiet_from": "00:00", "quiet_until": "00:00"})


def book(client: Reader, number: str, kind: str) -> datetime:
    client.go(f"/my/{number}/visit/{kind}/")
    start = client.values("start")[-1]
    client.pressed("Book this time", {"start": start})
    client.sees("Booked:")
    return datetime.fromisoformat(start)


def test_the_whole_story(shop: Shop, postbox: Postbox, picture_file: MakePicture, tmp_path: Path) -> None:
    pictures = [tmp_path / f"{name}.jpg" for name in ("front", "top", "dark", "warm", "sanded", "finished")]
    for path in pictures:
        path.write_bytes(picture_file(path.name, (1600, 1200)).read())
    front, top, dark, warm, sanded, finished = pictures
    owner, client = Reader(shop.home), Reader(shop.home)
    set_up(shop, owner)

    client.go("/request/")
    piece = {"piece0-name": "walnut writing desk", "piece0-made": "1950", "piece0-finish_now": "varnished"}
    asked = {"wish": "Its old warmth back.", "name": "Ottoline Brask", "email": CLIENT}
    client.pressed("Send the request", piece | asked, [("photos", front), ("photos", top)])
    client.sees("Thank you, Ottoline Brask")
    shop.kill_in_the_middle_of("photos_picture")
    client.go(link_in(postbox.wait_for(CLIENT, "We have your request")))
    number = client.url.rstrip("/").rpartition("/")[2]
    client.sees("We have your request.")

    desk = f"/desk/c/{number}/"
    owner.go(desk)
    owner.pressed("Quote it")
    lines = {
        "piece-0-words": "Strip the varnish, draw the rings, oil in three coats.",
        "line-0-0-text": "Strip and sand",
        "line-0-0-quantity": "6",
        "line-0-0-unit_price": "48",
        "line-0-2-text": "Oil and papers",
        "line-0-2-unit_price": "42.60",
    }
    owner.pressed("Add an option", lines)
    owner.pressed(
        "Keep, and read it through",
        {"option-0-text": "Cedar", "option-0-price": "96", "option-0-taxable": "on", "sample_promised": "on"},
    )
    owner.pressed("Send it")
    shop.kill_in_the_middle_of("documents_document")
    quoted = postbox.wait_for(CLIENT, "A price for your walnut writing desk")
    client.go(link_in(quoted))
    client.sees("333.26")  # 288 + 42.60 + 6.25 % of the 42.60
    option = client.values("option")
    client.press("Accept this quote", {"name": "Ottoline Brask", "terms": "on", "option": option})
    assert client.status == 409  # with the option it is another total, which she is shown first
    client.pressed("Accept this quote", {"name": "Ottoline Brask", "terms": "on", "option": option})
    client.sees("It is agreed")
    client.sees("435.26")
    shop.kill_in_the_middle_of("mail_email")
    pdf = Reader(shop.home)
    pdf.go(link_in(quoted))
    pdf.go(pdf.link("The quote as a PDF"))
    assert hashlib.sha256(pdf.data).digest() == hashlib.sha256(enclosed(quoted, "application/pdf")).digest()
    assert "333.26" in pypdf.PdfReader(io.BytesIO(pdf.data)).pages[0].extract_text()
    postbox.wait_for(SHOP, "has accepted the quote")

    owner.go(f"{desk}payment/")
    owner.pressed("Write it down")
    postbox.wait_for(CLIENT, "Your place is booked: receipt")
    drop_off = book(client, number, "drop-off")
    invitation = postbox.wait_for(CLIENT, "Booked: drop-off")
    event = vobject.readOne(enclosed(invitation, "text/calendar").decode()).vevent
    assert event.dtstart.value == drop_off
    owner.go(f"{desk}check-in/")
    owner.pressed("It is here")
    owner.pressed("On the bench")
    for board, answer in ((dark, "Please try again"), (warm, "This is the one")):
        owner.go(f"{desk}sample/")
        owner.pressed("Show it to them", {"name": board.stem}, [("photos", board)])
        client.go(f"/my/{number}/")
        client.go(client.link("Look at the sample"))
        client.pressed(answer, {"name": "Ottoline Brask", "answer": "Too dark." if board is dark else ""})
    owner.go(desk)
    owner.pressed("First coat of colour")
    owner.go(f"{desk}progress/")
    owner.pressed("Send", {"text": "First coat."}, [("photos", sanded)])
    postbox.wait_for(CLIENT, "From the bench")
    owner.go(desk)
    owner.pressed("It is drying")
    owner.go(f"{desk}progress/")
    owner.pressed("Send", {"text": "Done.", "finished": "on"}, [("photos", finished)])
    owner.pressed("It is ready")
    book(client, number, "pickup")
    owner.go(f"{desk}payment/")
    owner.pressed("Write it down", {"how": "card"})
    owner.go(desk)
    owner.pressed("Hand it over")
    owner.sees("Collected since")
    client.go(f"/my/{number}/")
    client.sees("Your walnut writing desk is home")
    client.sees("Nothing is due any more")

    unended = (
        "select 'email', id from mail_email where state != 'done' and due_at < now() union all "
        "select 'document', id from documents_document where state != 'done' union all "
        "select 'picture', id from photos_picture where state != 'done'"
    )
    wait_for(lambda: not shop.rows(unended), "everything is done", 40)
    journal = shop.rows("select verb from commissions_journalline order by at, id")
    assert [verb for (verb,) in journal] == JOURNAL
    kinds = Counter(kind for (kind,) in shop.rows("select kind from mail_email"))
    assert kinds == CLIENT_KINDS | SHOP_KINDS
    assert shop.rows("select count(*) from photos_picture") == [(6,)]
    assert shop.rows("select count(*) from photos_rendition where bytes > 0") == [(18,)]
    assert shop.rows("select kind, state from mail_email where state != 'done'") == HELD
    done = "select message_id from mail_email where state = 'done' order by id"
    written = [key for (key,) in shop.rows(done)]
    arrived = {letter["Message-ID"]: letter for letter in postbox.arrived}
    assert arrived.keys() == set(written)
    # One that was handed over in the moment of a kill may come twice: it is then the same email.
    assert len(postbox.arrived) <= len(written) + 2
    for address in (CLIENT, SHOP):
        in_one_thread([arrived[key] for key in written if address in arrived[key]["To"]])
