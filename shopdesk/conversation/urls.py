"""Addresses under the desk (`/desk/`) and under the client's page (`/my/`)."""

from django.urls import path

from shopdesk.conversation import desk as at_desk
from shopdesk.conversation import portal as on_page

desk = [
    path("c/<str:number>/answer/", at_desk.answer, name="answer"),
    path("c/<str:number>/answered/", at_desk.answered_elsewhere, name="answered-elsewhere"),
]
portal = [path("my/<str:number>/ask/", on_page.ask, name="ask")]
