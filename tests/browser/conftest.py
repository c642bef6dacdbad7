"""A real browser, and a shop that runs as its owner runs it: `python3 manage.py serve` with a folder of its
own."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from playwright.sync_api import (
    Browser,
    BrowserContext,
    Page,
    Request,
    Response,
    ViewportSize,
    expect,
    sync_playwright,
)

from shopdesk.natives import chromium
from tests.conftest import need
from tests.postbox import Postbox, open_postbox
from tests.services.serving import Served

PHONE: ViewportSize = {"width": 390, "height": 844}
LAPTOP: ViewportSize = {"width": 1280, "height": 900}
_ARGUMENTS = ["--no-sandbox", "--disable-gpu", "--disable-dev-shm-usage", "--hide-scrollbars"]

expect.set_options(timeout=20_000)  # a picture on a slow line, on a machine that does other things too


@pytest.fixture(scope="module")
def browser() -> Iterator[Browser]:
    """Chromium without a window. A module's own: while it is there, its event loop occupies this thread."""
    path = chromium()
    need("browser", path is not None, "no Chromium was found; SHOPDESK_CHROMIUM can name one")
    with pytest.MonkeyPatch.context() as patch:
        # Playwright's loop runs in this thread, beside the test and not under it: the ORM may be used.
        patch.setenv("DJANGO_ALLOW_ASYNC_UNSAFE", "yes")
        with sync_playwright() as playwright:
            started = playwright.chromium.launch(executable_path=path, args=_ARGUMENTS)
            yield started
            started.close()


class Complaints:
    """What browsers had to say: errors in the console, scripts that failed, files that were not there."""

    def __init__(self) -> None:
        self.said: list[str] = []

    def listen(self, page: Page) -> None:
        page.on("console", lambda line: self._heard(line.type, line.text, page))
        page.on("pageerror", lambda error: self.said.append(f"{page.url}: {error}"))
        page.on("requestfailed", self._failed)
        page.on("response", self._answered)

    def _heard(self, kind: str, text: str, page: Page) -> None:
        # A page's own status (422 for a form with a mistake) is looked at by the test; a file's below.
        # What htmx says of a request that failed stands below as well; one that was cut off because the page
        # was left, or a newer one took its place (hx-sync), is no fault.
        told_below = "Failed to load resource" in text or text.startswith(
            ("htmx:afterRequest", "htmx:sendError", "htmx:sendAbort")
        )
        if kind in ("error", "warning") and not told_below:
            self.said.append(f"{page.url}: {kind}: {text}")

    def _failed(self, request: Request) -> None:
        if "ERR_ABORTED" not in (request.failure or ""):  # the page was left meanwhile
            self.said.append(f"{request.url}: {request.failure}")

    def _answered(self, response: Response) -> None:
        if response.status >= 400 and response.request.resource_type != "document":
            self.said.append(f"{response.url}: {response.status}")


@pytest.fixture
def complaints() -> Complaints:
    return Complaints()


def at_width(browser: Browser, size: ViewportSize, complaints: Complaints, **more: Any) -> BrowserContext:
    """A browser of one person, with cookies of its own."""
    context = browser.new_context(viewport=size, locale="en-US", **more)
    context.set_default_timeout(15_000)
    context.on("page", complaints.listen)
    return context


def no_sideways(page: Page) -> None:
    """The page as a whole does not scroll sideways."""
    wide, has = page.evaluate("[document.documentElement.scrollWidth, document.documentElement.clientWidth]")
    assert wide <= has, f"{page.url} is {wide} px wide in a window of {has}"


# -- a shop that runs ----------------------------------------------------------------------------------------


@pytest.fixture
def postbox() -> Iterator[Postbox]:
    with open_postbox() as box:
        yield box


@pytest.fixture
def served(tmp_path: Path, postbox: Postbox) -> Iterator[Served]:
    """A shop in an empty folder, as it is on its first day; its emails go to the postbox."""
    told = {"EMAIL_URL": postbox.url, "SWEEP_SECONDS": "2", "MAIL_GATHER_SECONDS": "1"}
    with Served(tmp_path / "var", **told) as shop:
        yield shop.until_up()
        print(shop.printed)  # shown where the test fails
