from celery import shared_task

from shopdesk.base.sweep import sweep


@shared_task(name="shopdesk.base.sweep")
def run_sweep() -> None:
    sweep()
