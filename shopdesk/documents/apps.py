from typing import Any

from django.apps import AppConfig


class DocumentsConfig(AppConfig):
    name = "shopdesk.documents"

    def ready(self) -> None:
        from shopdesk.base import blobs, sweep
        from shopdesk.documents import actions, codes, serve

        sweep.register(actions.RENDER, actions.render_all)
        blobs.register("documents", serve.fetch)
        blobs.register(codes.KIND, codes.fetch)
        blobs.ready.connect(_on_ready, dispatch_uid="documents wait for pictures")


def _on_ready(ref: str, **kwargs: Any) -> None:
    from shopdesk.documents import actions

    if not ref.startswith("documents:"):
        actions.picture_came()
