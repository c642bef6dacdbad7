from celery import shared_task

from shopdesk.mail import mailbox
from shopdesk.mail.actions import TASK
from shopdesk.mail.delivery import deliver_all


@shared_task(name=TASK)
def deliver() -> None:
    deliver_all()


@shared_task(name=mailbox.TASK)
def read_mailbox() -> None:
    mailbox.read_mailbox()
