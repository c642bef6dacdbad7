"""Signing in, setting up, and the shop's own facts, under the desk."""

from django.urls import URLPattern

desk: list[URLPattern] = []
