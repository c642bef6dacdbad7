"""Addresses under the desk (`/desk/`) and under the client's page (`/my/`)."""

from django.urls import path

from shopdesk.changes import desk as at_desk
from shopdesk.changes import portal as on_page

desk = [
    path("c/<str:number>/change/", at_desk.propose, name="propose-change"),
    path("c/<str:number>/change/<int:change>/", at_desk.change, name="change"),
    path("c/<str:number>/change/<int:change>/close/", at_desk.close, name="close-change"),
    path("c/<str:number>/change/<int:change>/noted/", at_desk.noted, name="change-noted"),
]
portal = [
    path("my/<str:number>/change/<int:change>/", on_page.change, name="change"),
    path("my/<str:number>/change/<int:change>/accept/", on_page.accept, name="accept-change"),
    path("my/<str:number>/change/<int:change>/decline/", on_page.decline, name="decline-change"),
]
