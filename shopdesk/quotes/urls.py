"""Addresses under the desk (`/desk/`) and under the client's page (`/my/`)."""

from django.urls import URLPattern

desk: list[URLPattern] = []
portal: list[URLPattern] = []
