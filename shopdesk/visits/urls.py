"""Addresses under the desk (`/desk/`) and under the client's page (`/my/`)."""

from django.urls import URLPattern, path

from shopdesk.visits import desk as at_desk
from shopdesk.visits import portal as on_page

desk: list[URLPattern] = [
    path("c/<str:number>/visit/site-visit/offer/", at_desk.offer, name="visit-offer"),
    path("c/<str:number>/visit/<str:kind>/", at_desk.visit, name="visit"),
    path("c/<str:number>/visit/<str:kind>/cancel/", at_desk.cancel, name="visit-cancel"),
]
portal: list[URLPattern] = [
    path("my/<str:number>/visit/<str:kind>/", on_page.visit, name="visit"),
    path("my/<str:number>/visit/<str:kind>/cancel/", on_page.cancel, name="visit-cancel"),
    path("my/<str:number>/visit/<str:kind>.ics", on_page.ics, name="visit-ics"),
]
