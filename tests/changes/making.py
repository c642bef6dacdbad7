"""Changes for tests, proposed as the desk does it."""

from __future__ import annotations

from decimal import Decimal
from typing import Any

from shopdesk.base.who import Who
from shopdesk.changes import actions
from shopdesk.changes.models import Change
from shopdesk.commissions.models import Commission


def propose(commission: Commission, who: Who, **other: Any) -> Change:
    """Worm in a rail: 120.00, taxed, four days."""
    values: dict[str, Any] = {
        "reason": "Under the old paint the left rail is eaten by worm.",
        "words": "A new rail in ash, let in and glued.",
        "price": Decimal(120),
        "taxable": True,
        "days": 4,
    }
    pictures = other.pop("pictures", ())
    return actions.propose(commission, actions.NewChange(**{**values, **other}), who, pictures)
