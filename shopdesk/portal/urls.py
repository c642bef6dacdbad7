"""The client's side: the door, the client's page, and each step's pages under it."""

from django.urls import URLPattern

from shopdesk.colours import urls as colours
from shopdesk.conversation import urls as conversation
from shopdesk.quotes import urls as quotes
from shopdesk.visits import urls as visits

app_name = "portal"
urlpatterns: list[URLPattern] = [
    *conversation.portal,
    *quotes.portal,
    *colours.portal,
    *visits.portal,
]
