from celery import shared_task

from shopdesk.commissions.reminders import TASK, write_due


@shared_task(name=TASK)
def run_reminders() -> None:
    write_due()
