"""The public request form, and the owner's quick entry under the desk."""

from django.urls import URLPattern

app_name = "intake"
urlpatterns: list[URLPattern] = []
desk: list[URLPattern] = []
