"""`{{ pictures|at:piece.picture_ref }}`"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from django import template

register = template.Library()


@register.filter
def at(things: Mapping[str, Any] | None, key: str | None) -> Any:
    """What stands in a mapping under a key that is itself a value; nothing where there is none."""
    return (things or {}).get(key or "")
