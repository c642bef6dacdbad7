r"""Words with named blanks in braces."""

from __future__ import annotations

import pytest

from shopdesk.mail.blanks import Broken, Unfilled, Unknown, check, fill, names_in, nearest

KNOWN = ("pieces", "ready_date", "page", "what_is_due")


def test_blanks_are_named_once_in_the_order_in_which_they_stand() -> None:
    assert names_in("{pieces}: {page}, { pieces } and {what_2}") == ("pieces", "page", "what_2")
    assert names_in("no blank, a \\{brace} and } one more") == ()


def test_what_is_filled_is_what_stands_there() -> None:
    values = {"pieces": "desk {page}", "page": "p", "ready_date": "  "}
    assert fill("Your {pieces} \\{is} here}: { page }\\{", values) == "Your desk {page} {is} here}: p{"
    assert fill("", {}) == ""


def test_a_blank_that_there_is_not_stops_it_and_names_what_was_meant() -> None:
    with pytest.raises(Unknown, match=r"no field \{peices\}\. Did you mean \{pieces\}\?") as caught:
        fill("{peices} {nowhere_at_all}", dict.fromkeys(KNOWN, "x"))
    assert caught.value.names == ("peices", "nowhere_at_all")
    assert "{nowhere_at_all}." in str(caught.value)
    with pytest.raises(Unknown):
        check("{x}", KNOWN)
    assert check("{page}{pieces}", KNOWN) == ("page", "pieces")


def test_a_blank_without_a_value_stops_it_and_is_named() -> None:
    with pytest.raises(Unfilled, match=r"\{page\} and \{ready_date\}") as caught:
        fill("{page} {pieces} {ready_date}", {"page": "", "ready_date": " \n", "pieces": "desk"})
    assert caught.value.names == ("page", "ready_date")


@pytest.mark.parametrize("text", ["{", "a {{pieces}}", "{% if x %}", "{}", "{\n}", "{pieces", "{ä}"])
def test_a_brace_that_opens_no_blank_is_said_with_the_way_to_write_one(text: str) -> None:
    with pytest.raises(Broken, match=r"\\\{|small letters"):
        names_in(text)


def test_a_name_in_large_letters_or_with_a_blank_is_named_as_it_should_be() -> None:
    with pytest.raises(Broken, match=r"like \{ready_date\}"):
        names_in("It is ready {Ready date}.")


def test_what_was_meant_is_found_by_letters_and_by_words() -> None:
    assert nearest("pieses", KNOWN) == "pieces"
    assert nearest("due", KNOWN) == "what_is_due"
    assert nearest("zzz", KNOWN) == ""
