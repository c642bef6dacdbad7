"""Addresses under the desk (`/desk/`) and under the client's page (`/my/`)."""

from django.urls import path

from shopdesk.colours import desk as at_desk
from shopdesk.colours import portal as on_page

desk = [
    path("c/<str:number>/sample/", at_desk.propose, name="sample"),
    path("c/<str:number>/sample/<int:sample_id>/answer/", at_desk.answer, name="sample-answer"),
]
portal = [path("my/<str:number>/sample/<int:sample_id>/", on_page.answer, name="sample-answer")]
