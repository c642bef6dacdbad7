"""The desk: its own pages, and each step's pages under it."""

from django.urls import URLPattern, path

from shopdesk.ballpark import urls as ballpark
from shopdesk.bench import urls as bench
from shopdesk.changes import urls as changes
from shopdesk.colours import urls as colours
from shopdesk.conversation import urls as conversation
from shopdesk.deposits import urls as deposits
from shopdesk.desk import emails, later, people, reminders, tray, views, wording
from shopdesk.intake import urls as intake
from shopdesk.pricebook import urls as pricebook
from shopdesk.progress import urls as progress
from shopdesk.quotes import urls as quotes
from shopdesk.shop import urls as shop
from shopdesk.visits import urls as visits

app_name = "desk"
urlpatterns: list[URLPattern] = [
    path("", views.today, name="today"),
    path("c/", views.commissions, name="commissions"),
    path("c/<str:number>/", views.commission, name="commission"),
    path("c/<str:number>/docket/", views.docket, name="docket"),
    path("c/<str:number>/client/", people.client, name="client"),
    path("c/<str:number>/client/emails/", reminders.client_emails, name="client-emails"),
    path("c/<str:number>/reminders/", reminders.commission_reminders, name="commission-reminders"),
    path("c/<str:number>/piece/<int:position>/", people.piece, name="piece"),
    path("c/<str:number>/pictures/", later.pictures, name="pictures"),
    path("c/<str:number>/link/", views.link, name="link"),
    path("c/<str:number>/link/revoke/", views.link_revoke, name="link-revoke"),
    path("pictures/<uuid:key>/<str:size>.webp", views.picture, name="picture"),
    path("documents/<uuid:key>.pdf", views.document, name="document"),
    path("again/<str:kind>/<int:pk>/", views.work_again, name="work-again"),
    path("shop/reminders/", reminders.shop_reminders, name="reminders"),
    *emails.urls,
    *wording.urls,
    *tray.urls,
    *shop.desk,
    *pricebook.desk,
    *intake.desk,
    *conversation.desk,
    *ballpark.desk,
    *quotes.desk,
    *changes.desk,
    *deposits.desk,
    *colours.desk,
    *bench.desk,
    *progress.desk,
    *visits.desk,
]
