from django.apps import AppConfig


class PortalConfig(AppConfig):
    name = "shopdesk.portal"

    def ready(self) -> None:
        from shopdesk.mail import still
        from shopdesk.portal.actions import link_is_theirs

        still.register("fresh-link", link_is_theirs)
