"""The public request form, and the owner's quick entry under the desk."""

from django.urls import path

from shopdesk.intake import desk as owner
from shopdesk.intake import portal as client

app_name = "intake"
urlpatterns = [
    path("", client.request_page, name="request"),
    path("draft/", client.draft, name="draft"),
    path("photos/", client.photo, name="photo"),
    path("photos/<uuid:picture_key>/away/", client.photo_away, name="photo-away"),
    path("photos/<uuid:picture_key>/<str:size>.webp", client.picture, name="picture"),
    path("thanks/<uuid:key>/", client.thanks, name="thanks"),
]
desk = [
    path("new/", owner.new_request, name="new-request"),
    path("new/from-email/<int:arrival_id>/", owner.from_email, name="request-from-email"),
]
