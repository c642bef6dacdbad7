"""Addresses under the desk (`/desk/`)."""

from django.urls import path

from shopdesk.bench import desk as at_desk

desk = [
    path("c/<str:number>/check-in/", at_desk.check_in, name="check-in"),
    path("c/<str:number>/hold/", at_desk.hold, name="hold"),
    path("c/<str:number>/cancel/", at_desk.cancel, name="cancel"),
    path("c/<str:number>/move/<slug:verb>/", at_desk.move, name="move"),
]
