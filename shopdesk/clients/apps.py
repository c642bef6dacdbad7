from django.apps import AppConfig


class ClientsConfig(AppConfig):
    name = "shopdesk.clients"

    def ready(self) -> None:
        from shopdesk.clients import access, stopping
        from shopdesk.mail.links import register

        register("client", access.write_link, access.write_links)
        register("stop", stopping.write_link)
