"""How everything looks: style sheet, small modules, form templates, and how money and days are written."""

from django import forms
from django.apps import AppConfig
from django.core import validators

WORDS: dict[type[forms.Field], dict[str, str]] = {
    forms.Field: {"required": "Please fill this in."},
    forms.ChoiceField: {"invalid_choice": "That is not one of the choices; please choose again."},
    forms.MultipleChoiceField: {
        "invalid_choice": "One of those is not among the choices; please choose again.",
        "invalid_list": "We could not read what was chosen; please choose again.",
    },
    forms.ModelChoiceField: {"invalid_choice": "That is not one of the choices; please choose again."},
    forms.IntegerField: {"invalid": "Write a whole number, such as 3."},
    forms.DecimalField: {"invalid": "Write a number, such as 2 or 2.5."},
    forms.DateField: {"invalid": "We could not read that day; write it like 2030-05-17."},
    forms.TimeField: {"invalid": "We could not read that time; write it like 14:30."},
    forms.FileField: {
        "required": "Please choose a file.",
        "invalid": "The file did not arrive; please choose it again.",
        "missing": "The file did not arrive; please choose it again.",
        "empty": "That file is empty.",
        "max_length": "The name of that file is too long; please shorten it.",
    },
}
LIMITS: dict[type[validators.BaseValidator], str] = {
    validators.MaxLengthValidator: (
        "That is %(show_value)d characters long, and we can take %(limit_value)d. Please shorten it."
    ),
    validators.MinLengthValidator: "That is too short: at least %(limit_value)d characters are needed.",
    validators.MaxValueValidator: "That is more than %(limit_value)s; please check it.",
    validators.MinValueValidator: "That is less than %(limit_value)s; please check it.",
}


class Look(AppConfig):
    name = "shopdesk.look"
    label = "look"

    def ready(self) -> None:
        # Every form says it in the shop's voice, without each field having to.
        for field, said in WORDS.items():
            field.default_error_messages = {**getattr(field, "default_error_messages", {}), **said}
        for validator, message in LIMITS.items():
            validator.message = message
        validators.EmailValidator.message = "That is not an email address; write it like name@example.com."
        validators.ProhibitNullCharactersValidator.message = "There is a character in it that we cannot keep."
