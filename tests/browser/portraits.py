"""Take the README's pictures from a running demo: `.venv/bin/python -m tests.browser.portraits`.

Run `python3 manage.py demo` first, in another terminal; give its address and the client's link it prints.
"""

from __future__ import annotations

import sys
import tomllib
from pathlib import Path

from playwright.sync_api import Browser, Page, sync_playwright

from shopdesk.natives import chromium

ROOT = Path(__file__).resolve().parent.parent.parent
PICTURES = ROOT / "shared" / "demo" / "pictures"
WORDS = tomllib.loads((ROOT / "shared" / "demo" / "scenario.toml").read_text())


def page_of(browser: Browser, width: int, height: int) -> Page:
    return browser.new_context(
        viewport={"width": width, "height": height}, device_scale_factor=1.5, color_scheme="light"
    ).new_page()


def take(page: Page, name: str) -> None:
    page.wait_for_load_state("networkidle")
    page.screenshot(path=PICTURES / f"{name}.jpg", type="jpeg", quality=82)


def main(address: str, client_link: str) -> None:
    PICTURES.mkdir(parents=True, exist_ok=True)
    with sync_playwright() as play:
        browser = play.chromium.launch(executable_path=chromium(), args=["--no-sandbox"])
        owner = page_of(browser, 1100, 760)
        owner.goto(f"{address}/desk/sign-in/")
        owner.fill("input[type=email]", WORDS["owner"]["login"])
        owner.fill("input[type=password]", WORDS["owner"]["password"])
        owner.click("main button")
        take(owner, "desk")
        owner.goto(f"{address}/desk/c/26-002/")
        take(owner, "commission")
        owner.goto(f"{address}/desk/c/26-004/quote/")
        owner.locator("summary", has_text="What it takes").first.evaluate(
            "one => one.parentElement.open = true"
        )
        owner.set_viewport_size({"width": 1100, "height": 1500})
        take(owner, "quoting")
        client = page_of(browser, 390, 844)
        client.goto(client_link)
        take(client, "client")
        browser.close()


if __name__ == "__main__":
    main(*sys.argv[1:3])
