"""The catalogue of emails at the desk, and changing the words of one."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from difflib import SequenceMatcher
from itertools import groupby
from typing import Any, cast

from csp.constants import SELF, UNSAFE_INLINE
from csp.decorators import csp_update
from django import forms
from django.contrib import messages
from django.http import Http404, HttpResponse, HttpResponseBase, HttpResponseRedirect, QueryDict
from django.shortcuts import render
from django.urls import path, reverse
from django.utils.dateparse import parse_datetime
from django.views.decorators.http import require_http_methods, require_POST, require_safe

from shopdesk.base.once import once, submission_key
from shopdesk.base.refusals import Refused
from shopdesk.desk.emails import with_pictures
from shopdesk.mail import catalogue, links, own, queries
from shopdesk.mail.catalogue import About, Source
from shopdesk.mail.models import Email, OwnWords
from shopdesk.mail.words import NoWords, field_values, with_source
from shopdesk.shop.access import DeskRequest, desk_view, owner_of
from shopdesk.shop.models import Shop

LATEST = "latest"
_AS_AN_EMAIL = {"style-src": [SELF, UNSAFE_INLINE]}
"""The frame with the email is part of its page and has the page's policy; an email carries its style in the
text. Nothing in it may run: the frame is a sandbox, and scripts within a page stay forbidden."""


# -- all of them -------------------------------------------------------------------------------------------


@dataclass(frozen=True)
class _Row:
    about: About
    own: OwnWords | None
    left_aside: str


@desk_view
@require_safe
def wordings(request: DeskRequest) -> HttpResponseBase:
    own_words = {row.kind: row for row in OwnWords.objects.all()}
    aside = own.left_aside()
    rows = [
        _Row(catalogue.about(kind), own_words.get(kind), aside.get(kind, "")) for kind in catalogue.kinds()
    ]
    rows.sort(key=lambda row: (catalogue.SECTIONS.index(row.about.section), row.about.title.lower()))
    groups = [
        (title, [(section, list(of_it)) for section, of_it in groupby(theirs, lambda row: row.about.section)])
        for title, theirs in (
            ("To the client", [row for row in rows if row.about.to == "client"]),
            ("To you", [row for row in rows if row.about.to == "shop"]),
        )
    ]
    page: HttpResponse = render(request, "desk/wordings.html", {"nav": "emails", "groups": groups})
    return page


# -- one of them -------------------------------------------------------------------------------------------


class WordsForm(forms.Form):
    say_needed = False
    subject = forms.CharField(label="Subject", required=False, strip=False)
    body = forms.CharField(
        label="Words",
        required=False,
        strip=False,
        help_text="An empty line begins a paragraph; - begins a line of a list; **two stars** make bold; "
        "[words]({page}) is a link.",
        widget=forms.Textarea(attrs={"rows": 16}),
    )
    shown = forms.ChoiceField(label="Shown with", required=False)
    seen = forms.CharField(required=False, widget=forms.HiddenInput)

    def __init__(self, data: Any, *, kind: str, kept: OwnWords | None, shown: list[tuple[str, str]]) -> None:
        source: OwnWords | Source = kept or catalogue.shipped(kind)
        initial = {"subject": source.subject, "body": source.body, "seen": _stamp(kept)}
        super().__init__(data, initial=initial)
        self.kind = kind
        choice = self.fields["shown"]
        assert isinstance(choice, forms.ChoiceField)
        choice.choices = shown

    def clean(self) -> dict[str, Any]:
        typed = super().clean() or {}
        typed["body"] = typed.get("body", "").replace("\r\n", "\n")
        for fault in own.faults_in(self.kind, typed.get("subject", ""), typed["body"]):
            self.add_error(fault.field, fault.text)
        return typed


@csp_update(_AS_AN_EMAIL)
@desk_view
@require_http_methods(["GET", "HEAD", "POST"])
def wording(request: DeskRequest, kind: str) -> HttpResponseBase:
    """The words of one kind. A POST with "keep" keeps them; any other looks at what they come to, and one by
    htmx gets only that."""
    about = _about(kind)
    kept = OwnWords.objects.filter(kind=kind).first()
    latest = queries.latest_of(kind)
    posted = request.POST.copy() if request.POST else None
    form = WordsForm(posted, kind=kind, kept=kept, shown=_choices(about, latest))
    newer: own.Older | None = None
    if request.method == "POST" and form.is_valid():
        typed = form.cleaned_data
        look = _preview(_email(about, None, "", request.shop), _source(typed["subject"], typed["body"]))
        if trouble := look.get("trouble"):
            form.add_error("body", trouble)
    if request.method == "POST" and "keep" in request.POST and form.is_valid():
        typed = form.cleaned_data

        def do() -> str:
            seen = parse_datetime(typed["seen"]) if typed["seen"] else None
            own.keep(kind, typed["subject"], typed["body"], seen, owner_of(request))
            return reverse("desk:wording", args=[kind])

        try:
            landing = once(submission_key(request), do)
        except own.Older as no:
            newer = no
            form.add_error(None, f"{no.sentence} Yours are still here; the others stand below.")
        except own.Faulty as no:  # another window has changed nothing, but Shopdesk's own file may be newer
            for fault in no.faults:
                form.add_error(fault.field, fault.text)
        except Refused as no:
            form.add_error(None, no.sentence)
        else:
            messages.success(request, "Kept. From now on this email says it so.")
            return HttpResponseRedirect(landing)
    return _page(request, about, kept, latest, form, newer)


def _page(
    request: DeskRequest,
    about: About,
    kept: OwnWords | None,
    latest: Email | None,
    form: WordsForm,
    newer: own.Older | None,
) -> HttpResponse:
    """`newer` is what another window kept meanwhile: the next press writes over it, knowing."""
    if form.is_bound:
        form.is_valid()
        subject, body = form.data.get("subject", ""), form.data.get("body", "").replace("\r\n", "\n")
        chosen = form.data.get("shown", "")
    else:
        subject, body, chosen = form.initial["subject"], form.initial["body"], ""
    if newer is not None:
        cast(QueryDict, form.data)["seen"] = _stamp(newer.now)
    wrong = [error for name in ("subject", "body") for error in form.errors.get(name, [])]
    live = request.headers.get("HX-Request") == "true"
    answer: HttpResponse
    if live and wrong:  # what was seen last stays, with what is wrong above it
        answer = render(request, "desk/_wording_wrong.html", {"wrong": wrong})
        answer["HX-Retarget"] = "#wrong"
        return answer
    email = _email(about, latest, chosen, request.shop)
    aside = own.faults_in(about.kind, kept.subject, kept.body) if kept else ()
    typed = _source(subject, body)
    goes_out = catalogue.shipped(about.kind) if aside and not form.is_bound else typed
    context = {
        "about": about,
        "live": live,
        "rows": _rows(about, email),
        **({} if wrong else _preview(email, goes_out)),
    }
    if live:
        answer = render(request, "desk/_wording_preview.html", context)
        return answer
    context |= {
        "nav": "emails",
        "form": form,
        "kept": kept,
        "newer": newer,
        "aside": aside,
        "differences": list(_differences(catalogue.shipped(about.kind), typed)),
    }
    status = 409 if newer else 422 if form.errors else 200
    answer = render(request, "desk/wording.html", context, status=status)
    return answer


@desk_view
@require_POST
def wording_back(request: DeskRequest, kind: str) -> HttpResponseBase:
    """Back to the original words."""
    about = _about(kind)
    here = reverse("desk:wording", args=[about.kind])

    def do() -> str:
        own.drop(about.kind, parse_datetime(request.POST.get("seen", "")), owner_of(request))
        return here

    try:
        landing = once(submission_key(request), do)
    except own.Older as no:
        messages.error(request, f"{no.sentence} Read them before you take them back.")
        return HttpResponseRedirect(here)
    except Refused as no:
        messages.error(request, no.sentence)
        return HttpResponseRedirect(here)
    messages.success(request, "The original words are back.")
    return HttpResponseRedirect(landing)


def _about(kind: str) -> About:
    if kind not in catalogue.kinds():
        raise Http404
    return catalogue.about(kind)


def _source(subject: str, body: str) -> Source:
    return Source(*own.tidied(subject, body), own=True)


def _stamp(kept: OwnWords | None) -> str:
    return kept.changed_at.isoformat() if kept else ""


# -- what they come to -------------------------------------------------------------------------------------


def _choices(about: About, latest: Email | None) -> list[tuple[str, str]]:
    """What it can be shown with: the latest real one, and the samples."""
    real = [(LATEST, f"The latest one, to {latest.to_name}")] if latest else []
    samples = [(str(number), says or "A sample") for number, says in enumerate(about.samples)]
    return [*real, *samples]


def _email(about: About, latest: Email | None, chosen: str, shop: Shop) -> Email:
    """The latest email of the kind, or one that is none, made of a sample."""
    if latest is not None and chosen in (LATEST, ""):
        latest.worded_at = None  # to be worded anew, here alone
        return latest
    samples = {str(number): sample for number, sample in enumerate(about.samples.values())}
    sample = samples.get(chosen, samples["0"])
    told = {**sample, "shop_name": shop.name} | ({"shop_phone": shop.phone} if "shop_phone" in sample else {})
    to_client = about.to == "client"
    return Email(
        kind=about.kind,
        sort=about.sort,
        context=told,
        from_name=shop.name,
        from_address=shop.email,
        to_name=str(sample.get("name", "")) if to_client else shop.name,
        to_address="somebody@example.com" if to_client else shop.email,
        stop=f"{links.SCHEME}sample/stop/" if about.can_be_switched_off else "",
    )


@dataclass(frozen=True)
class _Field:
    name: str
    says: str
    value: str
    required: bool


def _rows(about: About, email: Email) -> list[_Field]:
    values = field_values(email)
    return [
        _Field(name, says, links.hinted(values[name]), name in about.required)
        for name, says in about.fields.items()
    ]


def _preview(email: Email, source: Source) -> dict[str, str]:
    try:
        made = with_source(email, source)
    except NoWords as error:
        return {"trouble": str(error)}
    html = links.hinted(made.html)
    return {
        "said_subject": made.subject,
        "text": links.hinted(made.text),
        "html": with_pictures(email, html) if email.pk else html,
    }


# -- beside the original -----------------------------------------------------------------------------------


def _differences(original: Source, now: Source) -> Iterator[tuple[str, str]]:
    """The lines of both, each with "same", "gone" or "new"."""
    before = [original.subject, *_paragraphs(original.body)]
    after = [now.subject.strip(), *_paragraphs(now.body)]
    for what, a, b, c, d in SequenceMatcher(None, before, after, autojunk=False).get_opcodes():
        if what == "equal":
            yield from (("same", line) for line in before[a:b])
        else:
            yield from (("gone", line) for line in before[a:b])
            yield from (("new", line) for line in after[c:d])


def _paragraphs(body: str) -> list[str]:
    return [line for line in (line.rstrip() for line in body.split("\n")) if line]


urls = [
    path("emails/words/", wordings, name="wordings"),
    path("emails/words/<slug:kind>/", wording, name="wording"),
    path("emails/words/<slug:kind>/back/", wording_back, name="wording-back"),
]
