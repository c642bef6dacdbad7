"""Tags and filters that every template has without loading them (see settings): how the shop's paper writes
money, days and sizes, and what the form templates in `templates/paper/` are made of.

Filters take the `shop` of the context, which may be None before a shop is set up.
"""

from __future__ import annotations

import re
import uuid
from datetime import UTC, date, datetime, tzinfo
from decimal import Decimal
from typing import Any
from zoneinfo import ZoneInfo, ZoneInfoNotFoundError

from django import forms, template
from django.forms.boundfield import BoundField
from django.template import Context
from django.utils import timezone
from django.utils.html import format_html
from django.utils.safestring import SafeString, mark_safe

from shopdesk.craft.units import show_length
from shopdesk.look import formats, said

register = template.Library()


# -- money, days, sizes --------------------------------------------------------------------------------------


def _locale(shop: Any) -> str:
    return str(getattr(shop, "locale", "") or "en_US")


def _zone(shop: Any) -> tzinfo:
    name = str(getattr(shop, "zone", "") or "")
    if not name:
        return timezone.get_current_timezone()
    try:
        return ZoneInfo(name)
    except (ZoneInfoNotFoundError, ValueError):
        return UTC


def _today(shop: Any) -> date:
    return timezone.now().astimezone(_zone(shop)).date()


def _as_date(value: date | datetime, shop: Any) -> date:
    return value.astimezone(_zone(shop)).date() if isinstance(value, datetime) else value


@register.filter
def money(value: Decimal | None, shop: Any = None) -> str:
    """`{{ total|money:shop }}` → `$343.70`"""
    return (
        "" if value is None else formats.money(value, getattr(shop, "currency", None) or "USD", _locale(shop))
    )


@register.filter
def amount(value: Decimal | None, shop: Any = None) -> str:
    """`{{ total|amount:shop }}` → `343.70`"""
    return (
        ""
        if value is None
        else formats.amount(value, getattr(shop, "currency", None) or "USD", _locale(shop))
    )


@register.simple_tag(takes_context=True)
def money_in(context: Context, value: Decimal | None, currency: str) -> str:
    """`{% money_in standing.due standing.currency %}` → `$343.70`: what was agreed keeps the currency it was
    agreed in, whatever the shop counts in by now."""
    return "" if value is None else formats.money(value, currency, _locale(context.get("shop")))


@register.simple_tag(takes_context=True)
def amount_in(context: Context, value: Decimal | None, currency: str) -> str:
    """`{% amount_in price quote.currency %}` → `343.70`"""
    return "" if value is None else formats.amount(value, currency, _locale(context.get("shop")))


@register.filter
def plain_number(value: Decimal | int | None, shop: Any = None) -> str:
    """`{{ line.quantity|plain_number:shop }}` → `2.5`"""
    return "" if value is None else formats.number(value, _locale(shop))


@register.filter
def day(value: date | datetime | None, shop: Any = None) -> str:
    """`{{ quote.good_until|day:shop }}` → `9 December`, with the year when it is not this one."""
    return "" if value is None else formats.day(_as_date(value, shop), _locale(shop), _today(shop))


@register.filter
def shortday(value: date | datetime | None, shop: Any = None) -> str:
    """`{{ step.on|shortday:shop }}` → `9 Dec`"""
    return "" if value is None else formats.short_day(_as_date(value, shop), _locale(shop), _today(shop))


@register.filter
def weekday(value: date | datetime | None, shop: Any = None) -> str:
    """`{{ slot.start|weekday:shop }}` → `Wednesday 9 December`"""
    return "" if value is None else formats.weekday(_as_date(value, shop), _locale(shop), _today(shop))


@register.filter
def clock(value: datetime | None, shop: Any = None) -> str:
    """`{{ slot.start|clock:shop }}` → `14:30`"""
    return "" if value is None else formats.clock(value, _zone(shop), _locale(shop))


@register.filter
def daytime(value: datetime | None, shop: Any = None) -> str:
    """`{{ entry.at|daytime:shop }}` → `Wed 9 Dec, 14:30`"""
    return "" if value is None else formats.moment(value, _zone(shop), _locale(shop), _today(shop))


@register.filter
def say_ago(value: date | datetime | None, shop: Any = None) -> str:
    """`asked {{ asked_at|say_ago:shop }}` → `asked on Monday`, `asked three weeks ago`"""
    return "" if value is None else formats.since(_as_date(value, shop), _today(shop))


@register.filter
def say_since(value: date | datetime | None, shop: Any = None) -> str:
    """`waiting {{ asked_at|say_since:shop }}` → `waiting since Monday`, `waiting for three weeks`"""
    return "" if value is None else formats.waiting_since(_as_date(value, shop), _today(shop))


@register.filter
def size(value: Decimal | int | None, shop: Any = None) -> str:
    """`{{ piece.width_mm|size:shop }}` → `34 1/2 in` or `87.6 cm`, in the shop's units."""
    return "" if value is None else show_length(Decimal(value), getattr(shop, "units", None) or "cm")


# -- what people wrote ---------------------------------------------------------------------------------------


@register.filter
def written(text: str | None) -> SafeString:
    """`<p class="words" dir="auto">{{ message.text|written }}</p>`: as text, with its addresses as links."""
    return mark_safe(said.written(text or ""))  # noqa: S308 (everything in it is escaped)


@register.filter
def isolated(name: str | None) -> SafeString:
    """`{{ client.name|isolated }}` → `<bdi>Ottoline Brask</bdi>`"""
    return mark_safe(said.isolated(name or ""))  # noqa: S308 (everything in it is escaped)


@register.filter
def one_line(text: str | None) -> str:
    """`<title>{{ client.name|one_line }}</title>`: a name where no element can stand around it."""
    return said.one_line(text or "")


# -- colour --------------------------------------------------------------------------------------------------

_HEX = re.compile(r"#[0-9a-fA-F]{6}")


@register.simple_tag
def swatch(colour: str | None, words: str = "", small: bool = False) -> SafeString:
    """A painted board with a hole for the string: `{% swatch sample.hex "A dark bottle green" %}`.

    `small=True` is a chip in a line. What is not a colour code `#rrggbb` is drawn and described as unpainted.
    """
    painted = colour if colour and _HEX.fullmatch(colour) else None
    said = words if painted else f"{words}, no colour code for the screen".lstrip(", ")
    fill = painted or "#cdbfa8"
    if small:
        return format_html(
            '<svg class="paint chip" viewBox="0 0 20 20" role="img" aria-label="{}">'
            '<rect width="20" height="20" rx="2" fill="{}"/>'
            '<rect class="edge" x=".5" y=".5" width="19" height="19" rx="2"/></svg>',
            said or "Colour",
            fill,
        )
    return format_html(
        '<svg class="paint" viewBox="0 0 136 168" role="img" aria-label="{}">'
        '<rect width="136" height="168" rx="2" fill="{}"/>'
        '<rect class="edge" x=".5" y=".5" width="135" height="167" rx="2"/>'
        '<circle class="hole" cx="68" cy="18" r="6.5"/></svg>',
        said or "Colour sample",
        fill,
    )


# -- forms ---------------------------------------------------------------------------------------------------


@register.simple_tag(takes_context=True)
def submission_key(context: Context) -> SafeString:
    """The hidden field that makes a second press of the same form harmless (`base.once`).

    A form that is shown again with its mistakes keeps its key; any other gets a new one.
    """
    form, request = context.get("form"), context.get("request")
    posted = ""
    if (
        request is not None
        and request.method == "POST"
        and (form is None or getattr(form, "is_bound", False))
    ):
        posted = request.POST.get("submission", "")
    try:
        key = uuid.UUID(posted)
    except ValueError:
        key = uuid.uuid4()
    return format_html('<input type="hidden" name="submission" value="{}">', key)


@register.simple_tag
def widget(field: BoundField) -> SafeString:
    """The field's own control. The first wrong one on the page gets the focus."""
    return mark_safe(field.as_widget(attrs={"autofocus": True} if _takes_focus(field) else {}))  # noqa: S308 (Django's own)


@register.simple_tag
def choices(field: BoundField) -> list[dict[str, Any]]:
    """The ticks or the choices of a field, each with its `tag`, its `id` and its `label`."""
    options = list(field.subwidgets)
    if options and _takes_focus(field):
        options[0].data["attrs"]["autofocus"] = True
    return [
        {"tag": option.tag(), "id": option.id_for_label, "label": option.choice_label} for option in options
    ]


def _takes_focus(field: BoundField) -> bool:
    if not field.errors or field.is_hidden or getattr(field.form, "focus_given", False):
        return False
    field.form.focus_given = True  # type: ignore[attr-defined]
    return True


@register.filter
def kind(field: BoundField) -> str:
    """Which shape of field this is: `tick` (one box), `choices` (one or several of a list), `parts` (several
    controls in one field) or `line` (everything else)."""
    control = field.field.widget
    if isinstance(control, forms.RadioSelect | forms.CheckboxSelectMultiple):
        return "choices"
    if isinstance(control, forms.CheckboxInput):
        return "tick"
    return "parts" if field.use_fieldset else "line"


@register.filter
def described_by(field: BoundField) -> str:
    """The ids of the hint and the errors, for a fieldset around several controls."""
    return field.aria_describedby or ""


@register.filter
def first_id(field: BoundField) -> str:
    """The id of the first control of a field, to link to."""
    return field.id_for_label or f"{field.auto_id}_0"


@register.filter
def says_needed(field: BoundField) -> bool:
    """Whether the label says that the field is needed. A form with `say_needed = False` keeps quiet."""
    return bool(field.field.required and getattr(field.form, "say_needed", True))


@register.filter
def press_classes(classes: str) -> str:
    """The classes of a press in a crispy layout, without the ones that crispy itself brings along."""
    ours = [name for name in classes.split() if name not in ("btn", "btn-primary", "btn-inverse")]
    return " ".join(["press", *ours]) if "plain" not in ours else " ".join(ours)
