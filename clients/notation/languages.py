"""Languages by their tags (RFC 5646), and which of them the program's own words are in."""

from django.conf import settings
from django.utils.functional import Promise, lazy
from django.utils.translation import ngettext

StrOrPromise = str | Promise  # a promise is written when it is read, in the language in force then
ngettext_lazy = lazy(
    ngettext, str
)  # the framework's own makes a class at each call: half a millisecond


def primary_language(language: str) -> str:
    """“fr” of “fr-CA”."""
    return language.replace("_", "-").partition("-")[0].lower()


def supported_language(*wanted: str) -> str:
    """“fr” for fr-CA: the first language of these that the program's own words are in, else
    English."""
    known = dict(settings.LANGUAGES)
    return next(
        (code for each in wanted if (code := primary_language(each)) in known),
        settings.LANGUAGE_CODE,
    )
