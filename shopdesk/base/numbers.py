"""Running numbers."""

from django.db import transaction
from django.db.models import F

from shopdesk.base.models import Counter


def next_number(name: str) -> int:
    """The next number of that name, starting at 1, without gaps. Has to be called inside the transaction
    that uses it; others who want the same counter wait for its end."""
    assert transaction.get_connection().in_atomic_block, (
        "a number without gaps is taken in the transaction that uses it"
    )
    Counter.objects.get_or_create(name=name)
    Counter.objects.filter(name=name).update(last=F("last") + 1)
    return Counter.objects.values_list("last", flat=True).get(name=name)
