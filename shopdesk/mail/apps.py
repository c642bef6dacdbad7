from django.apps import AppConfig


class MailConfig(AppConfig):
    name = "shopdesk.mail"

    def ready(self) -> None:
        from shopdesk.base import blobs, sweep
        from shopdesk.mail import arrivals, mailbox
        from shopdesk.mail.actions import TASK
        from shopdesk.mail.delivery import deliver_all
        from shopdesk.mail.enclosed import there

        sweep.register(TASK, deliver_all)
        sweep.register(mailbox.TASK, mailbox.read_mailbox)
        sweep.register(arrivals.TIDY, arrivals.forget_now_and_then)
        blobs.ready.connect(there, dispatch_uid="mail")
