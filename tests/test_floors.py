"""What import-linter cannot see: foreign keys and reverse accessors go down as well."""

from __future__ import annotations

import re
import tomllib
from pathlib import Path

from django.apps import apps
from django.db import models

ROOT = Path(__file__).parent.parent


def floors() -> dict[str, int]:
    """App → height, from the same contract that import-linter reads."""
    contracts = tomllib.loads((ROOT / "pyproject.toml").read_text())["tool"]["importlinter"]["contracts"]
    layers = next(contract["layers"] for contract in contracts if contract["type"] == "layers")
    return {
        app.strip().removeprefix("shopdesk."): height
        for height, layer in enumerate(reversed(layers))
        for app in layer.split("|")
    }


def our_models() -> list[type[models.Model]]:
    return [
        model
        for model in apps.get_models(include_auto_created=True)
        if model.__module__.startswith("shopdesk.")
    ]


def test_every_app_has_a_floor() -> None:
    ours = {config.label for config in apps.get_app_configs() if config.name.startswith("shopdesk.")}
    assert ours | {"craft"} == set(floors())


def test_every_foreign_key_points_down() -> None:
    height = floors()
    seen = 0
    for model in our_models():
        for field in model._meta.get_fields():
            if (
                not isinstance(field, models.ForeignKey | models.ManyToManyField)
                or field.related_model is None
            ):
                continue
            target = field.remote_field.model._meta.app_label
            here = model._meta.app_label
            assert target == here or height[target] < height[here], (
                f"{model.__name__}.{field.name} points up to {target}"
            )
            seen += 1
    assert seen > 20


def test_no_lower_room_uses_an_upper_rooms_accessor() -> None:
    """A key from one app to another leaves no accessor behind, so there is nothing to use."""
    for model in our_models():
        for relation in model._meta.related_objects:
            if relation.related_model._meta.app_label != model._meta.app_label:
                assert relation.hidden, (
                    f"{model.__name__} can see {relation.get_accessor_name()} of a room above"
                )


def test_nothing_reads_a_path_outside_the_project() -> None:
    outside = re.compile(r"""["'](\.\./|/work/|/home/|/root/)""")
    for path in [*ROOT.glob("shopdesk/**/*.py"), ROOT / "manage.py"]:
        assert not outside.search(path.read_text()), path
