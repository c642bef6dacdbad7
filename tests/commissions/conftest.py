from __future__ import annotations

from collections.abc import Callable
from datetime import datetime

import pytest
from django.apps import apps
from django.utils import timezone


@pytest.fixture
def clock(monkeypatch: pytest.MonkeyPatch) -> Callable[[datetime], datetime]:
    """`clock(moment)` makes it that moment for everything that asks `timezone.now()`, rows that are made
    included."""
    real = timezone.now
    for model in apps.get_models():
        for field in model._meta.concrete_fields:
            if field.default is real:
                monkeypatch.setitem(field.__dict__, "_get_default", lambda: timezone.now())

    def set_to(moment: datetime) -> datetime:
        monkeypatch.setattr(timezone, "now", lambda: moment)
        return moment

    return set_to
