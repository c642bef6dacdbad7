"""The small modules in a real browser. No server: every address is answered from here."""

from __future__ import annotations

import base64
import json
import os
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from playwright.sync_api import Browser, Page, Request, Route, expect, sync_playwright

import shopdesk.look
from shopdesk import natives

STATIC = Path(shopdesk.look.__file__).parent / "static" / "shopdesk"
ORIGIN = "http://localhost"  # nothing is asked there, but a clipboard is given to such an address
POLICY = "default-src 'self'; img-src 'self' data: blob:"
ONE_PIXEL = base64.b64decode(
    "iVBORw0KGgoAAAANSUhEUgAAAAEAAAABCAYAAAAfFcSJAAAADUlEQVR42mNkYPhfDwAChwGA60e6kgAAAABJRU5ErkJggg=="
)

pytestmark = pytest.mark.browser


@pytest.fixture(scope="module")
def chromium() -> Iterator[Browser]:
    program = natives.chromium()
    if program is None:
        if "browser" in os.environ.get("SHOPDESK_REQUIRE", "").split(","):
            pytest.fail("browser is required here: no Chromium")
        pytest.skip("browser: no Chromium on this machine")
    quiet = ["--no-sandbox", "--disable-gpu", "--disable-background-networking", "--disable-component-update"]
    with sync_playwright() as play:
        browser = play.chromium.launch(
            executable_path=program, args=[*quiet, "--disable-sync", "--no-first-run"]
        )
        yield browser
        browser.close()


class Shop:
    """One page and what it is answered: pictures with `answers`, one after another, and the last again.

    None is a line that breaks. While it is `slow`, pictures have no answer before `let_go`.
    """

    def __init__(self, page: Page) -> None:
        self.page = page
        self.sent: list[Request] = []
        self.answers: list[Any] = [{"ok": True, "id": 1, "remove_url": "/remove/1"}]
        self.slow = False
        self.held: list[Route] = []
        self.complaints: list[str] = []
        page.on("pageerror", lambda error: self.complaints.append(str(error)))
        page.route("**/*", self._answer)

    def open(self, body: str, *modules: str) -> Page:
        scripts = "".join(f'<script type="module" src="/static/{name}"></script>' for name in modules)
        self.html = (
            '<!doctype html><html lang="en"><title>t</title><link rel="stylesheet" href="/static/paper.css">'
            f'<link rel="stylesheet" href="/static/fields.css"><main>{body}</main>{scripts}</html>'
        )
        self.page.goto(f"{ORIGIN}/form")
        return self.page

    def posts(self, path: str) -> list[Request]:
        return [one for one in self.sent if one.method == "POST" and one.url == ORIGIN + path]

    def let_go(self) -> None:
        while self.held:
            self._picture(self.held.pop(0))

    def _answer(self, route: Route) -> None:
        request = route.request
        path = request.url.removeprefix(ORIGIN)
        if request.method == "POST":
            self.sent.append(request)
        if path == "/form" and request.method == "GET":
            route.fulfill(
                body=self.html, content_type="text/html", headers={"Content-Security-Policy": POLICY}
            )
        elif path.startswith("/static/") and (file := STATIC / path.removeprefix("/static/")).exists():
            route.fulfill(path=file)
        elif path == "/upload":
            if self.slow:
                self.held.append(route)
            else:
                self._picture(route)
        elif path in ("/draft", "/remove/1"):
            route.fulfill(json={"ok": True})
        elif path == "/form":
            route.fulfill(body="<p>Thank you</p>", content_type="text/html")
        else:
            route.fulfill(status=404)

    def _picture(self, route: Route) -> None:
        answer = self.answers.pop(0) if len(self.answers) > 1 else self.answers[0]
        if answer is None:
            route.abort()
        else:
            status = answer.get("status", 200)
            route.fulfill(status=status, body=json.dumps(answer), content_type="application/json")


@pytest.fixture
def at_the_shop(chromium: Browser) -> Iterator[Shop]:
    context = chromium.new_context(viewport={"width": 390, "height": 844})
    shop = Shop(context.new_page())
    yield shop
    shop.let_go()
    context.close()
    assert shop.complaints == []


PICTURES = """
<form method="post" action="/form"><input type="hidden" name="csrfmiddlewaretoken" value="token">
<div data-photos data-upload-url="/upload" data-max="3"><label for="p">Pictures</label>
<input type="file" id="p" name="photos" multiple><ul class="shots"></ul></div>
<button name="go" value="now">Send it</button></form>
"""


def files(*names: str) -> list[Any]:
    return [{"name": name, "mimeType": "image/png", "buffer": ONE_PIXEL} for name in names]


def test_each_picture_goes_on_its_own_and_not_with_the_form_again(at_the_shop: Shop) -> None:
    page = at_the_shop.open(PICTURES, "photos.js", "once.js")
    page.set_input_files("#p", files("front.png", "side.heic"))
    expect(page.get_by_role("status")).to_have_text("All pictures are with us.")
    sent = at_the_shop.posts("/upload")
    assert len(sent) == 2
    assert all(one.headers["x-csrftoken"] == "token" for one in sent)
    expect(page.locator(".shot img")).to_have_count(1)  # no browser shows HEIC: it has words instead
    expect(page.locator(".shot .preparing")).to_have_count(1)
    assert page.evaluate("document.querySelector('#p').files.length") == 0
    page.get_by_role("button", name="Send it").click()
    expect(page.get_by_text("Thank you")).to_be_visible()
    (form,) = at_the_shop.posts("/form")
    assert form.post_data == "csrfmiddlewaretoken=token&photos=&go=now"


def test_a_refusal_is_said_beside_the_picture(at_the_shop: Shop) -> None:
    at_the_shop.answers = [{"ok": False, "message": "This is not a picture.", "status": 400}]
    page = at_the_shop.open(PICTURES, "photos.js")
    page.set_input_files("#p", files("letter.png"))
    expect(page.locator(".shot .wrong")).to_have_text("This is not a picture.")
    page.get_by_role("button", name="Take away").click()
    expect(page.locator(".shot")).to_have_count(0)


def test_what_did_not_get_through_can_be_tried_again(at_the_shop: Shop) -> None:
    at_the_shop.answers = [None, {"ok": True, "id": 2, "remove_url": "/remove/1"}]
    page = at_the_shop.open(PICTURES, "photos.js")
    page.set_input_files("#p", files("front.png"))
    expect(page.locator(".shot .wrong")).to_have_text("It did not get through.")
    page.get_by_role("button", name="Try again").click()
    expect(page.get_by_role("status")).to_have_text("All pictures are with us.")
    expect(page.locator(".shot .wrong")).to_have_count(0)
    page.get_by_role("button", name="Take away").click()
    expect(page.locator(".shot")).to_have_count(0)
    assert len(at_the_shop.posts("/remove/1")) == 1


def test_more_than_the_most_are_not_sent(at_the_shop: Shop) -> None:
    page = at_the_shop.open(PICTURES, "photos.js")
    page.set_input_files("#p", files("1.png", "2.png", "3.png", "4.png"))
    expect(page.locator(".shot")).to_have_count(3)
    expect(page.locator(".shot progress")).to_have_count(0)
    assert len(at_the_shop.posts("/upload")) == 3


def test_a_form_sent_too_early_waits_for_the_pictures(at_the_shop: Shop) -> None:
    at_the_shop.slow = True
    page = at_the_shop.open(PICTURES, "photos.js", "once.js")
    page.set_input_files("#p", files("1.png", "2.png", "3.png"))
    expect(page.locator(".shot progress")).to_have_count(2)  # two at once
    press = page.locator("form > button")
    press.click()
    expect(press).to_have_text("Sending pictures, 1 of 3…")
    assert at_the_shop.posts("/form") == []
    at_the_shop.slow = False
    at_the_shop.let_go()
    expect(page.get_by_text("Thank you")).to_be_visible()
    assert len(at_the_shop.posts("/form")) == 1
    assert len(at_the_shop.posts("/upload")) == 3


def test_a_form_that_waited_stays_when_a_picture_was_refused(at_the_shop: Shop) -> None:
    at_the_shop.slow = True
    at_the_shop.answers = [{"ok": False, "message": "Too dark to be a picture."}]
    page = at_the_shop.open(PICTURES, "photos.js", "once.js")
    page.set_input_files("#p", files("1.png"))
    page.get_by_role("button", name="Send it").click()
    at_the_shop.slow = False
    at_the_shop.let_go()
    expect(page.get_by_role("button", name="Take away")).to_be_focused()
    assert at_the_shop.posts("/form") == []
    page.get_by_role("button", name="Send it").click()
    expect(page.get_by_text("Thank you")).to_be_visible()


def test_two_presses_send_a_form_once(at_the_shop: Shop) -> None:
    page = at_the_shop.open('<form method="post" action="/form"><button>Send it</button></form>', "once.js")
    page.wait_for_load_state("networkidle")
    page.evaluate("for (let i = 0; i < 3; i++) document.querySelector('button').click()")
    expect(page.get_by_text("Thank you")).to_be_visible()
    assert len(at_the_shop.posts("/form")) == 1


DRAFT = """
<form method="post" action="/form" data-draft-url="/draft">
<input type="hidden" name="csrfmiddlewaretoken" value="token">
<label>Wish <textarea name="wish"></textarea></label>
<label>Password <input type="password" name="secret"></label>
<label>Sheen <select name="sheen" multiple><option selected>matt<option selected>satin</select></label>
<label><input type="checkbox" name="set" value="yes"> A set</label>
<p class="status" data-draft-said role="status"></p></form>
"""


def test_a_draft_is_kept_while_it_is_typed(at_the_shop: Shop) -> None:
    page = at_the_shop.open(DRAFT, "draft.js")
    page.get_by_label("Password").fill("never sent")
    page.get_by_label("Wish").fill("Painted green & dry")
    expect(page.get_by_role("status")).to_have_text("Kept.")
    (kept,) = at_the_shop.posts("/draft")
    assert kept.post_data == "csrfmiddlewaretoken=token&wish=Painted+green+%26+dry&sheen=matt&sheen=satin"


def test_words_are_copied_and_it_says_so(at_the_shop: Shop) -> None:
    at_the_shop.page.context.grant_permissions(["clipboard-read", "clipboard-write"], origin=ORIGIN)
    body = '<p id="words">Your page: /my/</p><button type="button" data-copy="#words" hidden>Copy</button>'
    page = at_the_shop.open(body, "copy.js")
    press = page.get_by_role("button")
    expect(press).to_have_text("Copy")
    press.click()
    expect(press).to_have_text("Copied")
    expect(page.get_by_role("status")).to_have_text("Copied")
    assert page.evaluate("navigator.clipboard.readText()") == "Your page: /my/"
    expect(press).to_have_text("Copy")
