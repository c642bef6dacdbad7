"""Everything the client's page shows of one commission, in a fixed number of statements."""

from __future__ import annotations

from collections.abc import Sequence

from django.db.models import Q, QuerySet

from shopdesk.ballpark.queries import ballpark_of
from shopdesk.changes.models import Change
from shopdesk.changes.queries import changes_of
from shopdesk.clients.models import Client
from shopdesk.colours.queries import samples_of
from shopdesk.commissions.models import Commission, Stage
from shopdesk.conversation.queries import messages_of
from shopdesk.deposits.models import Invoice, Receipt
from shopdesk.deposits.queries import invoices_of, standing
from shopdesk.documents.models import Document
from shopdesk.portal.words import Facts
from shopdesk.quotes.models import Quote
from shopdesk.quotes.queries import OPEN, heads
from shopdesk.shop.models import Shop
from shopdesk.visits.queries import offered, visits_of


def facts_of(shop: Shop, commission: Commission) -> Facts:
    quotes = [quote for quote in heads([commission]) if not quote.is_draft]
    money = standing(commission)
    early = commission.stage in (Stage.REQUESTED, Stage.QUOTED)
    return Facts(
        shop=shop,
        commission=commission,
        quotes=quotes,
        quote=next((quote for quote in quotes if quote.state in OPEN), None),
        standing=money,
        samples=samples_of(commission),
        visits=visits_of(commission),
        messages=messages_of(commission),
        changes=changes_of(commission) if money else [],
        invoices=invoices_of(commission) if money else [],
        ballpark=None if quotes else ballpark_of(commission),
        site_visit_offered=early and offered(commission),
    )


def documents_of_clients(clients: Sequence[Client]) -> QuerySet[Document, int]:
    """The ids of the documents that were sent to these clients: quotes, changes, receipts and invoices."""
    quotes = Quote.objects.filter(commission__client__in=clients, document__isnull=False).values("document")
    receipts = Receipt.objects.filter(entry__account__commission__client__in=clients).values("document")
    changes = Change.objects.filter(commission__client__in=clients).values("document")
    invoices = Invoice.objects.filter(account__commission__client__in=clients).values("document")
    return Document.objects.filter(
        Q(pk__in=quotes) | Q(pk__in=receipts) | Q(pk__in=changes) | Q(pk__in=invoices)
    ).values_list("pk", flat=True)
