"""The desk: its own pages, and each step's pages under it."""

from django.urls import URLPattern

from shopdesk.bench import urls as bench
from shopdesk.colours import urls as colours
from shopdesk.conversation import urls as conversation
from shopdesk.deposits import urls as deposits
from shopdesk.desk import emails
from shopdesk.intake import urls as intake
from shopdesk.progress import urls as progress
from shopdesk.quotes import urls as quotes
from shopdesk.shop import urls as shop
from shopdesk.visits import urls as visits

app_name = "desk"
urlpatterns: list[URLPattern] = [
    *emails.urls,
    *shop.desk,
    *intake.desk,
    *conversation.desk,
    *quotes.desk,
    *deposits.desk,
    *colours.desk,
    *bench.desk,
    *progress.desk,
    *visits.desk,
]
