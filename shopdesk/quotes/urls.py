"""The quote, under the desk and under the client's page."""

from django.urls import URLPattern, path

from shopdesk.quotes import desk as at_desk
from shopdesk.quotes import expiry_desk as run_out
from shopdesk.quotes import no_desk as said_no
from shopdesk.quotes import portal as on_page

desk: list[URLPattern] = [
    path("c/<str:number>/quote/", at_desk.quote, name="quote"),
    path("c/<str:number>/quote/sums/", at_desk.quote_sums, name="quote-sums"),
    path("c/<str:number>/quote/send/", at_desk.quote_send, name="quote-send"),
    path("c/<str:number>/quote/<int:revision>/", at_desk.quote_revision, name="quote-revision"),
    path("c/<str:number>/accepted/", at_desk.record_acceptance, name="record-acceptance"),
    path("c/<str:number>/no/", said_no.record_no, name="record-no"),
    path("c/<str:number>/decline/", at_desk.decline, name="decline"),
    path("c/<str:number>/still-interested/", run_out.still_interested, name="still-interested"),
    path("c/<str:number>/let-rest/", run_out.let_rest, name="let-rest"),
]
portal: list[URLPattern] = [
    path("my/<str:number>/quote/", on_page.quote, name="quote"),
    path("my/<str:number>/quote/<int:revision>/", on_page.quote_revision, name="quote-revision"),
    path("my/<str:number>/quote/<int:revision>/accept/", on_page.accept, name="accept"),
    path("my/<str:number>/quote/<int:revision>/decline/", on_page.decline, name="decline-quote"),
]
