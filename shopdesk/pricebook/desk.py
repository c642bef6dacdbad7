"""The owner's pages of the price book."""

from __future__ import annotations

from collections.abc import Callable
from datetime import timedelta
from typing import Any

from django.contrib import messages
from django.http import Http404, HttpResponse, HttpResponseBase, HttpResponseRedirect
from django.shortcuts import render
from django.urls import reverse
from django.utils import timezone
from django.views.decorators.http import require_GET, require_http_methods, require_POST

from shopdesk.base.once import once, submission_key
from shopdesk.base.press import pressed
from shopdesk.base.refusals import Refused
from shopdesk.pricebook import actions, queries, sheets
from shopdesk.pricebook.forms import (
    BookForm,
    EquipmentForm,
    MaterialForm,
    RatesForm,
    StepRateForm,
    UploadForm,
)
from shopdesk.pricebook.models import (
    Equipment,
    Material,
    Schedule,
    Sheet,
    StepRate,
    Usable,
)
from shopdesk.pricebook.planning import Plan
from shopdesk.shop.access import DeskRequest, desk_view, owner_of
from shopdesk.shop.models import Shop

_KINDS: dict[str, tuple[type[Usable], str]] = {
    "material": (Material, "desk:price-material"),
    "equipment": (Equipment, "desk:price-tool"),
    "step": (StepRate, "desk:price-step"),
    "schedule": (Schedule, "desk:price-schedule"),
}


def _page(
    request: DeskRequest, template: str, part: str, context: dict[str, Any], status: int = 200
) -> HttpResponse:
    """A page of the book; `part` is which of its five it belongs to."""
    kept = queries.rates()
    strange = kept.currency if kept.currency != request.shop.currency and kept.pk else ""
    shared = {"nav": "shop", "part": part, "other_currency": strange}
    page: HttpResponse = render(request, template, {**shared, **context}, status=status)
    return page


# -- lists ---------------------------------------------------------------------------------------------------


@desk_view
@require_GET
def prices(request: DeskRequest) -> HttpResponseBase:
    """Which schedules are there; and a first book, where there is none."""
    rows = [(one, queries.out_of_use(one)) for one in queries.schedules()]
    context = {"rows": rows, "retired": queries.schedules(retired=True), "empty": not queries.has_begun()}
    return _page(request, "pricebook/schedules.html", "schedules", context)


@desk_view
@require_GET
def steps(request: DeskRequest) -> HttpResponseBase:
    context = {"rows": queries.step_rates(), "retired": queries.step_rates(retired=True)}
    return _page(request, "pricebook/steps.html", "steps", context)


@desk_view
@require_GET
def materials(request: DeskRequest) -> HttpResponseBase:
    context = {"rows": queries.materials(), "retired": queries.materials(retired=True)}
    return _page(request, "pricebook/materials.html", "materials", context)


@desk_view
@require_GET
def tools(request: DeskRequest) -> HttpResponseBase:
    context = {"rows": queries.equipment(), "retired": queries.equipment(retired=True)}
    return _page(request, "pricebook/tools.html", "equipment", context)


@desk_view
@require_POST
def begin(request: DeskRequest) -> HttpResponseBase:
    here = reverse("desk:prices")

    def do() -> str:
        actions.begin(owner_of(request))
        return here

    return pressed(request, do, back=here, said="The book is begun. Put your own figures in.")


@desk_view
@require_POST
def use(request: DeskRequest, kind: str, pk: int) -> HttpResponseBase:
    """Take a row out of use (`press` = retire), or bring it back."""
    model, page = _KINDS.get(kind, (None, ""))
    row = model._default_manager.filter(pk=pk).first() if model else None
    if row is None:
        raise Http404
    here, back = reverse(page, args=[pk]), "back" in request.POST

    def do() -> str:
        (actions.bring_back if back else actions.retire)(row, owner_of(request))
        return here

    return pressed(request, do, back=here, said="In use again." if back else "Out of use.")


# -- one row -------------------------------------------------------------------------------------------------


def _kept(request: DeskRequest, form: BookForm, keep: Callable[[], str]) -> HttpResponseRedirect | int:
    """Keep a form that can be read: on to where it landed, or the status of the page that says why not."""
    if not form.is_valid():
        return 422
    try:
        landing = once(submission_key(request), keep)
    except actions.Faulty as no:
        form.blame(no.faults)
        return 422
    except Refused as no:
        form.add_error(None, no.sentence)
        return 409
    messages.success(request, "Kept. Quotes that are written already keep their figures.")
    return HttpResponseRedirect(landing)


@desk_view
@require_http_methods(["GET", "POST"])
def rates(request: DeskRequest) -> HttpResponseBase:
    form = RatesForm(request.POST or None, shop=request.shop, kept=queries.rates())
    status = 200
    if request.method == "POST":

        def keep() -> str:
            actions.keep_rates(form.facts(), owner_of(request))
            return reverse("desk:price-rates")

        answer = _kept(request, form, keep)
        if isinstance(answer, HttpResponseRedirect):
            return answer
        status = answer
    return _page(request, "pricebook/rates.html", "rates", {"form": form}, status)


@desk_view
@require_http_methods(["GET", "POST"])
def material(request: DeskRequest, pk: int | None = None) -> HttpResponseBase:
    row = None
    if pk is not None:
        row = Material.objects.prefetch_related("cans").filter(pk=pk).first()
        if row is None:
            raise Http404
    form = MaterialForm(request.POST or None, shop=request.shop, material=row)

    def keep() -> str:
        kept = actions.keep_material(form.facts(), owner_of(request), pk)
        return reverse("desk:price-material", args=[kept.pk])

    return _one(request, "pricebook/material.html", "materials", "material", row, form, keep)


@desk_view
@require_http_methods(["GET", "POST"])
def tool(request: DeskRequest, pk: int | None = None) -> HttpResponseBase:
    row = _row(Equipment, pk)
    form = EquipmentForm(request.POST or None, shop=request.shop, tool=row)

    def keep() -> str:
        kept = actions.keep_equipment(form.facts(), owner_of(request), pk)
        return reverse("desk:price-tool", args=[kept.pk])

    return _one(request, "pricebook/tool.html", "equipment", "equipment", row, form, keep)


@desk_view
@require_http_methods(["GET", "POST"])
def step(request: DeskRequest, pk: int | None = None) -> HttpResponseBase:
    row = _row(StepRate, pk)
    form = StepRateForm(request.POST or None, shop=request.shop, rate=row)

    def keep() -> str:
        kept = actions.keep_step_rate(form.facts(), owner_of(request), pk)
        return reverse("desk:price-step", args=[kept.pk])

    return _one(request, "pricebook/step.html", "steps", "step", row, form, keep)


def _row(model: type[actions.N], pk: int | None) -> actions.N | None:
    if pk is None:
        return None
    row = model._default_manager.filter(pk=pk).first()
    if row is None:
        raise Http404
    return row


def _one(
    request: DeskRequest,
    template: str,
    part: str,
    kind: str,
    row: Usable | None,
    form: BookForm,
    keep: Callable[[], str],
) -> HttpResponseBase:
    status = 200
    if request.method == "POST":
        answer = _kept(request, form, keep)
        if isinstance(answer, HttpResponseRedirect):
            return answer
        status = answer
    context = {"row": row, "kind": kind, "form": form, "users": queries.users_of(row) if row else []}
    return _page(request, template, part, context, status)


@desk_view
@require_http_methods(["GET", "POST"])
def schedule(request: DeskRequest, pk: int | None = None) -> HttpResponseBase:
    """Write a schedule. Presses that add, move or take away a step keep nothing yet."""
    row = None
    if pk is not None and (row := queries.schedule(pk)) is None:
        raise Http404
    plan = Plan(request.shop, row, request.POST if request.method == "POST" else None)
    status = 200
    if request.method == "POST" and not Plan.is_press(request.POST):
        status = 422
        if plan.is_valid():

            def keep() -> str:
                kept = actions.keep_schedule(plan.facts(), owner_of(request), pk, plan.edition)
                return reverse("desk:price-schedule", args=[kept.pk])

            try:
                landing = once(submission_key(request), keep)
            except actions.Older as no:
                plan.said.append(
                    f"{no.sentence} What you typed is still here. Press Keep again to put yours in its "
                    "place, or open the page afresh to see the other."
                )
                plan.newer_edition, status = no.edition, 409
            except actions.Faulty as no:
                plan.blame(no.faults)
            except Refused as no:
                plan.said.append(no.sentence)
                status = 409
            else:
                messages.success(request, "Kept. Quotes that are written already keep their figures.")
                return HttpResponseRedirect(landing)
    context = {"row": row, "kind": "schedule", "plan": plan, "gone": queries.out_of_use(row) if row else []}
    return _page(request, "pricebook/schedule.html", "schedules", context, status)


# -- files ---------------------------------------------------------------------------------------------------

_WAITS = timedelta(days=1)
"""So long a file that was read waits for the press that takes it in."""
_PARTS = {Sheet.Kind.MATERIALS: "desk:price-materials", Sheet.Kind.STEPS: "desk:price-steps"}


def _kind(kind: str) -> Sheet.Kind:
    try:
        return Sheet.Kind(kind)
    except ValueError as error:
        raise Http404 from error


def _read(kind: str, text: str, shop: Shop) -> sheets.Reading[Any]:
    if kind == Sheet.Kind.MATERIALS:
        return sheets.read_materials(text, shop, Material.objects.prefetch_related("cans"))
    return sheets.read_step_rates(text, shop, StepRate.objects.all())


@desk_view
@require_GET
def sheet_out(request: DeskRequest, kind: str) -> HttpResponseBase:
    """The materials, or the steps, in use, as a CSV file."""
    if _kind(kind) == Sheet.Kind.MATERIALS:
        data = sheets.write_materials(queries.materials(), request.shop)
    else:
        data = sheets.write_step_rates(queries.step_rates(), request.shop)
    return HttpResponse(
        data,
        content_type="text/csv; charset=utf-8; header=present",
        headers={"Content-Disposition": f'attachment; filename="{kind}.csv"'},
    )


@desk_view
@require_http_methods(["GET", "POST"])
def sheet_in(request: DeskRequest, kind: str) -> HttpResponseBase:
    """Hand in a file. What is wrong with it is said by line; a sound one waits to be looked at."""
    form = UploadForm(request.POST or None, request.FILES or None)
    faults: list[sheets.LineFault] = []
    status = 200
    part = _kind(kind)
    if request.method == "POST":
        status = 422
        if form.is_valid():
            text = form.cleaned_data["file"]
            faults = _read(part, text, request.shop).faults
            if not faults:

                def wait() -> str:
                    Sheet.objects.filter(made_at__lt=timezone.now() - _WAITS).delete()
                    return reverse("desk:price-sheet", args=[Sheet.objects.create(kind=part, text=text).key])

                return HttpResponseRedirect(once(submission_key(request), wait))
    context = {
        "form": form, "kind": kind, "faults": faults, "back": reverse(_PARTS[part]),
        "most": sheets.MOST_FAULTS, "columns": sheets.COLUMNS[part],
    }  # fmt: skip
    return _page(request, "pricebook/sheet_in.html", part, context, status)


@desk_view
@require_http_methods(["GET", "POST"])
def sheet(request: DeskRequest, key: str) -> HttpResponseBase:
    """What a file would change; the press takes it in, all or nothing."""
    waiting = Sheet.objects.filter(pk=key, made_at__gte=timezone.now() - _WAITS).first()
    if waiting is None:
        messages.error(request, "That file has been taken in, or has waited too long. Hand it in again.")
        return HttpResponseRedirect(reverse("desk:price-materials"))
    home = reverse(_PARTS[Sheet.Kind(waiting.kind)])
    if request.method == "POST":

        def take() -> str:
            actions.take_in(waiting, request.shop, owner_of(request))
            return home

        return pressed(request, take, back=request.path, said="Taken in.")
    reading = _read(waiting.kind, waiting.text, request.shop)
    changes = [change for change in reading.changes if change.matters]
    new = sum(change.new for change in changes)
    context = {
        "waiting": waiting, "faults": reading.faults, "changes": changes, "home": home,
        "new": new, "changed": len(changes) - new,
        "same": len(reading.changes) - len(changes),
    }  # fmt: skip
    return _page(request, "pricebook/sheet.html", waiting.kind, context)
