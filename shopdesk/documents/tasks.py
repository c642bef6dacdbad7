from celery import shared_task

from shopdesk.documents import actions


@shared_task(name=actions.RENDER)
def render() -> None:
    actions.render_all()
