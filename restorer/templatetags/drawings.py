"""The small drawings beside words, some twenty a page: each drawn once a process."""

from functools import cache

from django import template
from django.template.loader import render_to_string

register = template.Library()


@register.simple_tag
def icon(name: str) -> str:
    """`{% icon "print" %}`: the drawing of `_icon.html` by its name there."""
    return drawn_icon(name)


@cache
def drawn_icon(name: str) -> str:
    return render_to_string("_icon.html", {"name": name})
