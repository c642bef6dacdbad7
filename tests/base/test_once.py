"""A second press changes nothing and lands where the first one did."""

import uuid

import pytest
from django.test import RequestFactory

from shopdesk.base.models import Submission
from shopdesk.base.once import once, submission_key
from shopdesk.base.refusals import Refused

pytestmark = pytest.mark.django_db


def test_the_same_key_twice_is_one_change() -> None:
    key, done = uuid.uuid4(), []

    def do() -> str:
        done.append(1)
        return "/there/"

    assert once(key, do) == "/there/"
    assert once(key, do) == "/there/"
    assert done == [1]


def test_a_refusal_leaves_the_key_free() -> None:
    key = uuid.uuid4()

    def refuse() -> str:
        raise Refused("Not today.")

    with pytest.raises(Refused):
        once(key, refuse)
    assert not Submission.objects.filter(key=key).exists()
    assert once(key, lambda: "/there/") == "/there/"


def test_two_keys_are_two_changes() -> None:
    done: list[int] = []

    def do() -> str:
        done.append(1)
        return "/there/"

    for _ in range(2):
        once(uuid.uuid4(), do)
    assert done == [1, 1]


def test_one_key_in_two_forms_of_a_page_is_two_changes() -> None:
    typed = {"submission": str(uuid.uuid4())}
    book, cancel = (RequestFactory().post(path, typed) for path in ("/book/", "/cancel/"))
    assert submission_key(book) != submission_key(cancel)
    assert submission_key(book) == submission_key(RequestFactory().post("/book/", typed))
