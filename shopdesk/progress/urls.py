"""Addresses under the desk (`/desk/`)."""

from django.urls import path

from shopdesk.progress import desk as at_desk

desk = [path("c/<str:number>/progress/", at_desk.show, name="progress")]
