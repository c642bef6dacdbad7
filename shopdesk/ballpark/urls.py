"""Under the desk."""

from django.urls import URLPattern, path

from shopdesk.ballpark import desk as at_desk

desk: list[URLPattern] = [
    path("c/<str:number>/ballpark/", at_desk.ballpark, name="ballpark"),
]
