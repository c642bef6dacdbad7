"""Templates of the tests' own, beside the shop's."""

from __future__ import annotations

import copy
from pathlib import Path
from typing import Any

import pytest

TEMPLATES = {
    "plain": """<!doctype html><html lang="en"><head><meta charset="utf-8"><title>{{ title }}</title>
<style>{{ font_faces|safe }}
html { font: 11pt "Shop Sans" } h1 { font-family: "Shop Serif" } img { width: 60mm }</style></head>
<body><h1>{{ title }}</h1><p>{{ words }}</p>
{% if picture %}<img src="picture:{{ picture }}" alt="The desk">{% endif %}</body></html>""",
    "thief": """<!doctype html><html lang="en"><head><title>{{ title }}</title>
<link rel="stylesheet" href="{{ sheet }}"><link rel="attachment" href="{{ file }}"></head>
<body><p>x</p><img src="{{ address }}" alt="Taken"></body></html>""",
    "broken": "{% if %}",
}


@pytest.fixture(autouse=True)
def _own_templates(tmp_path: Path, settings: Any) -> None:
    folder = tmp_path / "templates" / "documents"
    folder.mkdir(parents=True)
    for name, text in TEMPLATES.items():
        (folder / f"{name}.html").write_text(text)
    changed = copy.deepcopy(settings.TEMPLATES)
    changed[0]["DIRS"] = [*changed[0]["DIRS"], tmp_path / "templates"]
    settings.TEMPLATES = changed
