from celery import shared_task

from shopdesk.photos import actions


@shared_task(name=actions.PREPARE)
def prepare() -> None:
    actions.prepare_all()
