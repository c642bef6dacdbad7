from celery import shared_task

from shopdesk.quotes.expiry import look_after


@shared_task(name="shopdesk.quotes.remind")
def run_remind() -> None:
    look_after()
