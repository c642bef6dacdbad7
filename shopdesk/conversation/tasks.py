from celery import shared_task

from shopdesk.conversation import post


@shared_task(name=post.TASK)
def place() -> None:
    post.place_all()
