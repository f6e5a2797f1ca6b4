"""The small drawings beside words."""

from django.template import Context, Template

from restorer.templatetags.drawings import drawn_icon


def test_a_drawing_is_drawn_once_and_others_are_others():
    drawn_icon.cache_clear()
    written = Template("{% icon 'deck' %}{% icon 'due' %}{% icon 'deck' %}").render(Context())
    assert drawn_icon.cache_info().misses == 2
    assert written == drawn_icon("deck") + drawn_icon("due") + drawn_icon("deck")
    assert drawn_icon("deck") != drawn_icon("due")
