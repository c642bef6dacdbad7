"""What is due and what came in, under the desk."""

from django.urls import URLPattern, path

from shopdesk.deposits import desk as views

desk: list[URLPattern] = [
    path("c/<str:number>/payment/", views.payment, name="payment"),
    path("c/<str:number>/payment/<int:entry_id>/reverse/", views.reverse, name="reverse"),
    path("c/<str:number>/refund/", views.refund, name="refund"),
    path("c/<str:number>/invoice/", views.invoice, name="invoice"),
    path("c/<str:number>/let-off/", views.let_off, name="let-off"),
]
portal: list[URLPattern] = []
