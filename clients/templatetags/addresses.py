"""`{% url %}` of all templates: as Django's own, but pages with numbers in their addresses are
looked up once a process and not once a row."""

from typing import Any

from django import template
from django.template.context import Context
from django.template.defaulttags import URLNode
from django.template.defaulttags import url as parse_url
from django.utils.html import conditional_escape

from clients.pages import page_address

register = template.Library()


class NumberedURLNode(URLNode):
    """Anything but whole numbers goes Django's way."""

    def render(self, context: Context) -> str:
        numbers = [each.resolve(context) for each in self.args]
        if self.kwargs or self.asvar or any(type(each) is not int for each in numbers):
            return str(super().render(context))
        address = page_address(
            self.view_name.resolve(context), numbers, current_app=app_of_page(context)
        )
        return conditional_escape(address) if context.autoescape else address


def app_of_page(context: Any) -> str:
    """As Django asks for it."""
    request = getattr(context, "request", None)
    match = getattr(request, "resolver_match", None)
    return getattr(request, "current_app", None) or getattr(match, "namespace", None) or ""


@register.tag
def url(parser: Any, token: Any) -> URLNode:
    """`{% url "decks:detail" deck.pk %}`."""
    node = parse_url(parser, token)
    return NumberedURLNode(node.view_name, node.args, node.kwargs, node.asvar)
