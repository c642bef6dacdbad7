"""The client's side: the door, the client's page, and each step's pages under it."""

from django.urls import URLPattern, path

from shopdesk.changes import urls as changes
from shopdesk.colours import urls as colours
from shopdesk.conversation import urls as conversation
from shopdesk.portal import stopping, views
from shopdesk.quotes import urls as quotes
from shopdesk.visits import urls as visits

app_name = "portal"
urlpatterns: list[URLPattern] = [
    path("", views.front, name="front"),
    path("in/<str:token>/", views.enter, name="enter"),
    path("fresh-link/", views.fresh_link, name="fresh-link"),
    path("stop/<str:token>/", stopping.stop, name="stop"),
    path("my/", views.mine, name="mine"),
    path("my/emails/", stopping.emails, name="emails"),
    path("my/documents/<uuid:key>.pdf", views.document, name="document"),
    path("my/pictures/<uuid:key>/<str:size>.webp", views.picture, name="picture"),
    path("my/<str:number>/", views.commission, name="commission"),
    path("my/<str:number>/withdraw/", views.withdraw, name="withdraw"),
    *conversation.portal,
    *quotes.portal,
    *changes.portal,
    *colours.portal,
    *visits.portal,
]
