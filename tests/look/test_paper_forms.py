"""The form templates: what a person who listens to the page is told, and where the focus goes."""

from __future__ import annotations

import uuid
from decimal import Decimal
from types import SimpleNamespace
from typing import Any

import pytest
from crispy_forms.helper import FormHelper
from crispy_forms.layout import ButtonHolder, Div, Field, Fieldset, Layout, Row, Submit
from django import forms
from django.template import Context, Template
from django.test import RequestFactory
from lxml import html

SHEENS = [("m", "Matt"), ("s", "Satin")]


class Wish(forms.Form):
    name = forms.CharField(label="Your name", help_text="As you would say it on the phone.")
    email = forms.EmailField(label="Email", required=False)
    width = forms.CharField(label="Width", required=False)
    wish = forms.CharField(
        label="What do you wish for?", widget=forms.Textarea, help_text="In your own words."
    )
    finish = forms.ChoiceField(label="Its finish now", choices=SHEENS)
    sheen = forms.ChoiceField(
        label="Sheen", choices=SHEENS, widget=forms.RadioSelect, help_text="Satin wears best."
    )
    hardware = forms.MultipleChoiceField(
        label="Hardware", choices=SHEENS, required=False, widget=forms.CheckboxSelectMultiple
    )
    when = forms.SplitDateTimeField(label="When", required=False)
    agree = forms.BooleanField(label="I agree", help_text="To the terms.")
    picture = forms.FileField(label="Picture", required=False)
    draft = forms.CharField(widget=forms.HiddenInput, required=False)

    @property
    def helper(self) -> FormHelper:
        helper = FormHelper()
        helper.layout = Layout(
            Fieldset("You", "name", "email", css_id="you"),
            Row(Field("width", wrapper_class="short")),
            Div("wish", "finish", "sheen", "hardware", "when", "picture", css_class="more"),
            "agree",
            ButtonHolder(Submit("send", "Send it"), Submit("later", "Later", css_class="quiet")),
        )
        return helper


class Shorter(Wish):
    def clean(self) -> dict[str, Any]:
        raise forms.ValidationError("That piece is spoken for.")


def shown(
    form: forms.Form | forms.BaseFormSet[Wish],
    source: str = "{% load crispy_forms_tags %}{% crispy form %}",
    **context: Any,
) -> html.HtmlElement:
    request = context.pop("request", None) or RequestFactory().get("/")
    page = Template(source).render(Context({"form": form, "request": request, **context}))
    return html.fragment_fromstring(page, create_parent="div")


@pytest.fixture
def wrong() -> html.HtmlElement:
    return shown(Wish({"email": "nowhere", "name": "Ines"}))


def test_ids_are_there_once_and_everything_named_by_id_exists(wrong: html.HtmlElement) -> None:
    ids = wrong.xpath("//@id")
    assert len(ids) == len(set(ids))
    named = {part for value in wrong.xpath("//@aria-describedby") for part in value.split()}
    named |= set(wrong.xpath("//label/@for"))
    named |= {value.removeprefix("#") for value in wrong.xpath("//a/@href")}
    assert named - set(ids) == set()


def test_every_control_has_its_label(wrong: html.HtmlElement) -> None:
    controls = wrong.xpath("//input[not(@type='hidden')] | //select | //textarea")
    assert len(controls) >= 13
    for control in controls:
        labels = wrong.xpath(f"//label[@for='{control.get('id')}']")
        legends = control.xpath("ancestor::fieldset[contains(@class, 'field')]/legend")
        assert labels or legends, html.tostring(control)
        assert all(label.text_content().strip() for label in labels)


def test_hint_and_error_are_tied_to_the_control(wrong: html.HtmlElement) -> None:
    wish = wrong.get_element_by_id("id_wish")
    assert wish.get("aria-describedby") == "id_wish_helptext id_wish_error"
    assert wish.get("aria-invalid") == "true"
    assert wrong.get_element_by_id("id_wish_helptext").text_content() == "In your own words."
    assert wrong.get_element_by_id("id_wish_error").text_content() == "Please fill this in."
    name = wrong.get_element_by_id("id_name")
    assert name.get("aria-describedby") == "id_name_helptext"
    assert name.get("aria-invalid") is None


def test_a_group_of_choices_is_a_fieldset_with_its_hint_and_error(wrong: html.HtmlElement) -> None:
    group = wrong.get_element_by_id("div_id_sheen")
    assert group.tag == "fieldset"
    assert group.get("aria-describedby") == "id_sheen_helptext id_sheen_error"
    assert group.find("legend").text_content().split() == ["Sheen", "needed"]
    assert [label.text_content().strip() for label in group.xpath(".//label")] == ["Matt", "Satin"]
    assert group.xpath(".//label/input/@type") == ["radio", "radio"]


def test_the_first_wrong_field_on_the_page_has_the_focus(wrong: html.HtmlElement) -> None:
    assert wrong.xpath("//*[@autofocus]/@id") == ["id_email"]
    right_until_sheen = shown(Wish({"name": "Ines", "wish": "green", "finish": "m"}))
    assert right_until_sheen.xpath("//*[@autofocus]/@id") == ["id_sheen_0"]
    assert shown(Wish()).xpath("//*[@autofocus]") == []


def test_what_is_wrong_is_listed_on_top_with_the_way_there(wrong: html.HtmlElement) -> None:
    (box,) = wrong.find_class("wrong")
    assert box.get("role") == "alert"
    assert box.xpath(".//a/@href") == ["#id_email", "#id_wish", "#id_finish", "#id_sheen_0", "#id_agree"]


def test_what_is_wrong_with_the_whole_is_said_and_has_the_focus() -> None:
    page = shown(
        Shorter(
            {"name": "Ines", "wish": "green", "finish": "m", "sheen": "s", "agree": "on", "hardware": ["m"]}
        )
    )
    (box,) = page.find_class("wrong")
    assert "That piece is spoken for." in box.text_content()
    assert box.get("autofocus") is not None
    assert page.xpath("//input[@name='hardware'][@checked]/@value") == ["m"]
    assert page.get_element_by_id("id_wish").text.strip() == "green"


def test_only_what_is_needed_says_so() -> None:
    page = shown(Wish())
    needed = [label.getparent().text_content().split() for label in page.find_class("if")]
    assert [words[-1] for words in needed] == ["needed"] * 5
    assert "needed" not in page.xpath("//label[@for='id_email']")[0].text_content()


def test_the_page_writes_the_frame_of_a_form() -> None:
    """A <form> of its own would end the page's: what stands after it would belong to none."""
    page = shown(Wish(), csrf_token="t" * 64)
    assert page.xpath("//form | //input[@name='csrfmiddlewaretoken'] | //input[@name='submission']") == []
    assert page.xpath("//input[@name='draft']/@type") == ["hidden"]
    assert page.xpath("//label[contains(., 'draft')]") == []
    assert page.xpath("//button/@class") == ["press", "press quiet"]
    assert page.xpath("//button/@name") == ["send", "later"]
    assert [legend.text_content() for legend in page.xpath("//fieldset[@id='you']/legend")] == ["You"]
    assert page.xpath("//*[@style] | //script") == []


def test_names_that_look_like_markup_stay_words() -> None:
    page = shown(Wish({"name": "<b>Ines</b>", "email": '"><script>alert(1)</script>'}))
    assert page.xpath("//b[text()='Ines'] | //script") == []
    assert page.get_element_by_id("id_name").get("value") == "<b>Ines</b>"


def test_a_form_shown_by_the_filter() -> None:
    page = shown(Wish({"name": "Ines"}), "{% load crispy_forms_tags %}{{ form|crispy }}")
    assert page.get_element_by_id("id_wish_error").text_content() == "Please fill this in."
    assert page.xpath("//form") == []


def test_a_form_that_comes_back_keeps_its_submission_key() -> None:
    key = str(uuid.uuid4())
    again = RequestFactory().post("/", {"submission": key})
    frame = "<form>{% submission_key %}{% load crispy_forms_tags %}{% crispy form %}</form>"
    kept = shown(Wish({"name": ""}), frame, request=again)
    assert kept.xpath("//input[@name='submission']/@value") == [key]
    beside_it = shown(Wish(), frame, request=again)
    assert beside_it.xpath("//input[@name='submission']/@value") != [key]
    first, second = (shown(Wish(), frame).xpath("//input[@name='submission']/@value")[0] for _ in range(2))
    assert uuid.UUID(first) != uuid.UUID(second)
    strange = RequestFactory().post("/", {"submission": "<script>"})
    nonsense = shown(Wish({"name": ""}), frame, request=strange)
    assert uuid.UUID(nonsense.xpath("//input[@name='submission']/@value")[0]).version == 4


def test_several_forms_at_once() -> None:
    pieces = forms.formset_factory(Wish, extra=2)()
    page = shown(pieces, helper=FormHelper(), source="{% load crispy_forms_tags %}{% crispy form helper %}")
    assert page.xpath("//input[@name='form-TOTAL_FORMS']/@value") == ["2"]
    assert len(page.xpath("//textarea")) == 2
    assert len(page.xpath("//@id")) == len(set(page.xpath("//@id")))


@pytest.mark.parametrize(
    ("source", "written"),
    [
        ("{{ total|money:shop }}", "$343.70"),
        ("{{ total|amount:shop }}", "343.70"),
        ("{{ total|money:none }}", "$343.70"),
        ("{{ none|money:shop }}", ""),
        ("{{ mm|size:shop }}", "34 1/2 in"),
    ],
)
def test_filters(source: str, written: str) -> None:
    shop = SimpleNamespace(currency="USD", locale="en_US", zone="America/New_York", units="in")
    context = {"shop": shop, "total": Decimal("343.7"), "none": None, "mm": Decimal("876.3")}
    assert Template(source).render(Context(context)) == written


def test_a_swatch_is_described_and_takes_colours_only() -> None:
    green = Template('{% swatch "#2f4a3c" "Bottle green" %}').render(Context())
    picture = html.fragment_fromstring(green)
    assert picture.get("aria-label") == "Bottle green"
    assert picture.xpath("//rect[@fill='#2f4a3c']")
    bad = Template("{% swatch colour 'Green' %}").render(Context({"colour": '"/><script>'}))
    assert "script" not in bad
    assert "no colour code for the screen" in bad
