"""What people wrote is shown as text: nothing in it runs, leads astray or reaches beyond itself."""

from __future__ import annotations

import re
import time
from html.parser import HTMLParser

import pytest

from shopdesk.look.said import cleaned, isolated, one_line, written


class Seen(HTMLParser):
    """Every element and attribute, and the text, as the standard library's own parser reads them."""

    def __init__(self, html: str) -> None:
        super().__init__(convert_charrefs=True)
        self.elements: list[tuple[str, dict[str, str | None]]] = []
        self.text = ""
        self.feed(html)
        self.close()

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.elements.append((tag, dict(attrs)))

    def handle_data(self, data: str) -> None:
        self.text += data

    @property
    def links(self) -> list[str]:
        return [str(attrs["href"]) for tag, attrs in self.elements if tag == "a"]


NASTY = [
    "<script>alert(1)</script>",
    '"><img src=x onerror=alert(1)>',
    'https://example.com/"onmouseover="alert(1)',
    "https://example.com/<script>alert(1)</script>",
    "https://example.com/'onclick='alert(1)",
    "javascript:alert(1)",
    "JaVaScRiPt:alert(1) data:text/html,<b>x</b> vbscript:x file:///etc/passwd",
    "java\u200bscript:alert(1)",
    "<a href='javascript:alert(1)'>https://example.com</a>",
    'mailto:"<x>"@example.com',
    "&lt;script&gt; &#60;b&#62;",
    "https://[::1/ https://exa mple.com http:// https://",
]


@pytest.mark.parametrize("text", NASTY)
def test_nothing_but_links_and_text_comes_out(text: str) -> None:
    seen = Seen(written(text))
    assert {tag for tag, _ in seen.elements} <= {"a"}
    for _, attrs in seen.elements:
        assert set(attrs) == {"href", "rel", "dir"}
        assert re.match(r"(?:https?://|mailto:)", str(attrs["href"]))
        assert attrs["rel"] == "nofollow noopener noreferrer"
    assert seen.text == cleaned(text)


@pytest.mark.parametrize(
    ("text", "links"),
    [
        ("see https://example.com/a.", ["https://example.com/a"]),
        ("(https://example.com/a_(b))", ["https://example.com/a_(b)"]),
        ("HTTP://Example.COM:8080/A?b=1&c=%20#d, and", ["http://example.com:8080/A?b=1&c=%20#d"]),
        ("https://example.com/ü ö", ["https://example.com/%C3%BC"]),
        ("a.b+c@mail.example.com!", ["mailto:a.b+c@mail.example.com"]),
        ("mailto:a@example.com?subject=x", ["mailto:a@example.com"]),
        ("ftp://example.com www.example.com example.com", []),
        ("https://bank.example@elsewhere.example.com/", []),  # a name before the host hides the host
        ("https://a:b@elsewhere.example.com/", []),
        ("https://ex%61mple.com/", []),
        ("https://example.com:99999999/", []),
        ("https://" + "a" * 5000 + ".example.com", []),
    ],
)  # fmt: skip
def test_what_is_a_link(text: str, links: list[str]) -> None:
    assert Seen(written(text)).links == links


def test_a_link_says_its_own_address() -> None:
    assert Seen(written("Look: https://example.com/a?b=1&c=2")).text == "Look: https://example.com/a?b=1&c=2"


def test_a_host_in_other_letters_is_followed_by_how_it_is_looked_up() -> None:
    """The Cyrillic letters look like the Latin ones: "xn--80ak6aa92e" is the published example (Xudong Zheng,
    "Phishing with Unicode Domains", 2017, from memory; the coding is RFC 3492's, by the standard library)."""
    lookalike = "\u0430\u0440\u0440\u04cf\u0435"
    assert lookalike.encode("idna") == b"xn--80ak6aa92e"
    seen = Seen(written(f"https://{lookalike}.example/x and so on"))
    assert seen.links == ["https://xn--80ak6aa92e.example/x"]
    assert "(xn--80ak6aa92e.example)" in seen.text
    assert "(xn--mbel-5qa.example)" in Seen(written("https://möbel.example/")).text


def test_what_turns_the_direction_or_is_not_seen_is_left_out() -> None:
    turns = "\u202a\u202b\u202c\u202d\u202e\u2066\u2067\u2068\u2069\u200e\u200f\u061c"
    hidden = "\u200b\u2060\u2061\ufeff\u00ad\u034f\u3164\ue000\U000e0041\x00\x07\x7f\x85"
    assert cleaned(f"gn{turns}p.exe{hidden}!") == "gnp.exe!"
    assert one_line("a\r\nb\u2028c\td") == "a b c d"


def test_what_scripts_need_stays() -> None:
    persian, family, tamil = "می\u200cخواهم", "👩\u200d👧\u200d👦", "க்\u200dஷ"
    for text in (persian, family, tamil, "Ångström é e\u0301", "שלום עולם", "“Grüße” 😀"):
        assert cleaned(text) == text
    assert cleaned("pay\u200dpal p\u200cal \u200d") == "paypal pal "


def test_marks_are_not_heaped_and_empty_lines_not_endless() -> None:
    assert cleaned("Z" + "\u0301" * 50) == "Z" + "\u0301" * 4
    assert cleaned("a" + "\n \n" * 500 + "b").count("\n") == 4
    assert cleaned("a\n\nb\r\n\r\nc") == "a\n\nb\n\nc"


def test_a_name_stands_by_itself() -> None:
    assert isolated("\u202e<b>Ott\n\u200boline</b>") == "<bdi>&lt;b&gt;Ott oline&lt;/b&gt;</bdi>"


@pytest.mark.parametrize(
    "text",
    ["a" * 200_000, "a@" * 50_000, "https://" * 20_000, ")" * 100_000, "https://a/" + ")" * 100_000,
     "\n " * 50_000, "\u0301" * 100_000, "\u200d" * 100_000, "mailto:" * 20_000],
)  # fmt: skip
def test_no_text_takes_long(text: str) -> None:
    began = time.process_time()
    written(text)
    assert time.process_time() - began < 3, "a few milliseconds are usual; this grows faster than the text"
