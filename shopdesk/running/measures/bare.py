"""The bare Django view that pages are measured against: one query, one small template, the same middleware.
Mounted beside the app's own addresses, in one URLconf."""

from __future__ import annotations

from django.http import HttpRequest, HttpResponse
from django.template import engines
from django.urls import include, path

from shopdesk.clients.models import Client

ADDRESS = "/bare/"
_PAGE = """<!doctype html>
<html lang="en"><head><meta charset="utf-8"><title>{{ client.name }}</title></head>
<body><h1>{{ client.name }}</h1><p>{{ client.email }}</p></body></html>"""
_template = engines["django"].from_string(_PAGE)


def view(request: HttpRequest) -> HttpResponse:
    return HttpResponse(_template.render({"client": Client.objects.order_by("pk").first()}, request))


urlpatterns = [path(ADDRESS.strip("/") + "/", view), path("", include("shopdesk.urls"))]
