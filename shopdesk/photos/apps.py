from django.apps import AppConfig


class PhotosConfig(AppConfig):
    name = "shopdesk.photos"

    def ready(self) -> None:
        from shopdesk.base import blobs, sweep
        from shopdesk.photos import actions, serve

        sweep.register(actions.PREPARE, actions.prepare_all)
        sweep.register(actions.TIDY, actions.tidy_now_and_then)
        blobs.register("pictures", serve.fetch)
