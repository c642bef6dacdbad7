from celery import shared_task

from shopdesk.conversation.post import place_all
from shopdesk.mail.arrivals import TASK


@shared_task(name=TASK)
def place() -> None:
    place_all()
