from celery import shared_task

from shopdesk.visits.actions import look_after


@shared_task(name="shopdesk.visits.remind")
def run_remind() -> None:
    look_after()
