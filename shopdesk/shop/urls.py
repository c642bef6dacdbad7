"""Signing in, setting up, and the shop's own facts, under the desk."""

from django.urls import URLPattern, path

from shopdesk.shop import desk as at_desk

desk: list[URLPattern] = [
    path("sign-in/", at_desk.sign_in, name="sign-in"),
    path("sign-out/", at_desk.sign_out, name="sign-out"),
    path("set-up/", at_desk.set_up, name="set-up"),
    path("shop/", at_desk.shop, name="shop"),
    path("shop/hours/", at_desk.openings, name="openings"),
]
