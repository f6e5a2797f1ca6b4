"""The sample page of the style in a real Chromium: what every other page is made of."""

from collections.abc import Callable

import pytest
from axe_playwright_python.sync_playwright import Axe
from django.urls import path
from playwright.sync_api import Page, expect

from restorer import urls
from restorer.views import errors
from tests.browser.conftest import DESKTOP, PHONE

handler400 = urls.handler400
handler403 = urls.handler403
urlpatterns = [*urls.urlpatterns, path("sample/", errors.show_style_samples)]
pytestmark = pytest.mark.urls(__name__)


@pytest.mark.parametrize("dark", [False, True], ids=["light", "dark"])
@pytest.mark.parametrize("size", [PHONE, DESKTOP], ids=["phone", "desktop"])
def test_axe_finds_nothing_on_the_parts(
    open_as: Callable[..., Page], size: dict[str, int], dark: bool
) -> None:
    page = open_as("owner", "/sample/", size=size, dark=dark)

    assert Axe().run(page).response["violations"] == []


@pytest.mark.parametrize("width", [320, 360, 390, 768, 1280])
def test_no_width_scrolls_sideways(open_as: Callable[..., Page], width: int) -> None:
    # WCAG 2.2, 1.4.10 Reflow: 320 CSS pixels (https://www.w3.org/TR/WCAG22/#reflow).
    page = open_as("owner", "/sample/", size={"width": width, "height": 800})

    assert page.evaluate("document.documentElement.scrollWidth <= innerWidth")


def test_every_control_of_the_form_is_as_large_as_a_thumb_needs(
    open_as: Callable[..., Page],
) -> None:
    page = open_as("owner", "/sample/")

    controls = (
        "button, .button, .grades label, .segments label, input:not([type=checkbox], [type=radio]),"
        " select"
    )
    heights = (
        page.locator("main")
        .locator(controls)
        .evaluate_all("all => all.map(each => each.getBoundingClientRect().height)")
    )
    assert min(heights) >= 44


def test_on_a_phone_the_pages_lie_at_the_lower_edge_and_the_rest_under_more(
    open_as: Callable[..., Page],
) -> None:
    page = open_as("owner", "/clients/", scripts=False)  # on a form its own bar lies there
    pages = page.get_by_role("navigation", name="Pages")

    box = pages.get_by_role("link", name="Log a job").bounding_box()
    assert box
    assert box["y"] + box["height"] == pytest.approx(PHONE["height"], abs=1)
    expect(pages.get_by_role("link", name="Settings")).to_have_count(0)
    pages.get_by_text("More").click()
    expect(pages.get_by_role("link", name="Settings")).to_be_visible()


def test_the_error_summary_takes_the_focus_and_leads_to_the_field(
    open_as: Callable[..., Page],
) -> None:
    page = open_as("owner", "/sample/")
    summary = page.get_by_role("alert").filter(has_text="Please look at")

    expect(summary).to_be_focused()
    summary.get_by_role("link", name="Litres used").click()
    expect(page.get_by_label("Litres used")).to_be_focused()


def test_grades_can_be_chosen_with_the_arrow_keys(open_as: Callable[..., Page]) -> None:
    page = open_as("owner", "/sample/")
    grades = page.get_by_role("group", name="As-found grade")

    grades.get_by_label("2").focus()
    page.keyboard.press("ArrowRight")

    expect(grades.get_by_label("3")).to_be_checked()
