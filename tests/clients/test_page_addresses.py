"""Addresses of rows are those of Django's `reverse`, looked up once a page and process."""

from typing import Any

import pytest
from django.template import Context, Template
from django.urls import (
    NoReverseMatch,
    clear_script_prefix,
    get_resolver,
    reverse,
    set_script_prefix,
)

from clients.pages import page_address
from clients.pages.addresses import address_pattern


def numbered_pages(
    resolver: Any = None, before: str = "", group: str = ""
) -> list[tuple[str, int]]:
    """Every page by name whose address holds nothing but numbers, and how many."""
    found = []
    for each in (resolver or get_resolver()).url_patterns:
        route = before + str(each.pattern)
        if hasattr(each, "url_patterns"):
            inside = f"{group}{each.namespace}:" if each.namespace else group
            found += numbered_pages(each, route, inside)
        elif each.name and route.count("<") == route.count("<int:"):
            found.append((group + each.name, route.count("<int:")))
    return found


def test_every_page_has_the_address_that_django_gives_it():
    pages = numbered_pages()
    assert len([name for name, count in pages if count]) > 50
    for name, count in pages:
        numbers = [7, 42, 3][:count]
        assert page_address(name, numbers) == reverse(name, args=numbers), name


def test_the_pages_of_rows_are_looked_up_once():
    address_pattern.cache_clear()
    assert [page_address("decks:detail", [pk]) for pk in (0, 1, 10**12)] == [
        "/decks/0/",
        "/decks/1/",
        "/decks/1000000000000/",
    ]
    assert address_pattern.cache_info().misses == 1


@pytest.mark.parametrize(
    ("name", "numbers"), [("decks:detail", [-1]), ("decks:detail", []), ("no_such_page", [1])]
)
def test_an_address_that_there_is_not_fails_as_django_has_it(name, numbers):
    with pytest.raises(NoReverseMatch):
        page_address(name, numbers)


def test_an_address_stands_below_where_the_site_is_served():
    set_script_prefix("/deck care/")
    try:
        assert page_address("decks:detail", [5]) == "/deck%20care/decks/5/"
    finally:
        clear_script_prefix()
    assert page_address("decks:detail", [5]) == "/decks/5/"


@pytest.mark.parametrize(
    ("tag", "written"),
    [
        ("{% url 'decks:detail' pk %}", "/decks/5/"),
        ("{% url 'decks:detail' pk=pk %}", "/decks/5/"),
        ("{% url 'decks:detail' pk as it %}<{{ it }}>", "</decks/5/>"),
        ("{% url 'decks:detail' words as it %}<{{ it }}>", "<>"),
        ("{% url 'reminders:due_month' month %}", "/due/2026-12/"),
    ],
)
def test_a_template_asks_for_an_address_as_ever(tag, written):
    context = Context({"pk": 5, "words": "Otilie", "month": "2026-12"})
    assert Template(tag).render(context) == written


def test_a_row_without_a_number_is_no_address():
    with pytest.raises(NoReverseMatch):
        Template("{% url 'decks:detail' pk %}").render(Context({"pk": None}))
