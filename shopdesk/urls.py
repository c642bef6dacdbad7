"""Every address. A step's own hang under the desk or under the client's page, as its `urls.py` says."""

from django.urls import include, path

urlpatterns = [
    path("", include("shopdesk.portal.urls")),
    path("request/", include("shopdesk.intake.urls")),
    path("desk/", include("shopdesk.desk.urls")),
]
