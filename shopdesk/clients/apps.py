from django.apps import AppConfig


class ClientsConfig(AppConfig):
    name = "shopdesk.clients"

    def ready(self) -> None:
        from shopdesk.clients.access import write_link
        from shopdesk.mail.links import register

        register("client", write_link)
