from __future__ import annotations

import pytest

from shopdesk.base.who import Who
from shopdesk.pricebook import actions


@pytest.fixture
def book(as_owner: Who) -> None:
    """The starting set."""
    actions.begin(as_owner)
