"""Addresses under the desk (`/desk/`) and under the client's page (`/my/`)."""

from django.urls import path

from shopdesk.conversation import desk as at_desk
from shopdesk.conversation import portal as on_page
from shopdesk.conversation import quick_desk as quick

desk = [
    path("said/", at_desk.all_conversations, name="conversations"),
    path("said/quick/", quick.all_quick, name="quick-answers"),
    path("said/quick/new/", quick.new_quick, name="quick-answer-new"),
    path("said/quick/<int:pk>/", quick.one_quick, name="quick-answer"),
    path("said/quick/<int:pk>/away/", quick.drop_quick, name="quick-answer-away"),
    path("c/<str:number>/answer/", at_desk.answer, name="answer"),
    path("c/<str:number>/answered/", at_desk.answered_elsewhere, name="answered-elsewhere"),
    path("c/<str:number>/nothing-to-answer/", at_desk.nothing_to_answer, name="nothing-to-answer"),
    path("c/<str:number>/note/", at_desk.note, name="note"),
    path("c/<str:number>/note/<int:note_id>/away/", at_desk.strike_note, name="note-away"),
]
portal = [path("my/<str:number>/ask/", on_page.ask, name="ask")]
