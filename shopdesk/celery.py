"""The Celery app. Tasks carry no payload: a task says "look now", and the rows say what there is to do."""

import os

from celery import Celery

from shopdesk.base import broker as _broker  # noqa: F401  makes the broker of files known

os.environ.setdefault("DJANGO_SETTINGS_MODULE", "shopdesk.settings")

app = Celery("shopdesk")
app.config_from_object("django.conf:settings", namespace="CELERY")
app.autodiscover_tasks()
