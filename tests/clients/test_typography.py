"""French as it is set, and addresses as they are posted."""

import pytest

from clients.notation import NARROW, NO_BREAK, postal, typography


@pytest.mark.parametrize(
    ("typed", "canadian", "french"),
    [
        # Office québécois de la langue française, Vitrine linguistique, 22039
        ("Voici : deux", f"Voici{NO_BREAK}: deux", f"Voici{NO_BREAK}: deux"),
        ("Oui ; non ! Vraiment ?", "Oui; non! Vraiment?", None),
        ("« Terrasse »", f"«{NO_BREAK}Terrasse{NO_BREAK}»", None),
        ("14 %", f"14{NO_BREAK}%", f"14{NO_BREAK}%"),
        ("l'été", "l’été", "l’été"),
        ("https://decks.example.org/o/a?b", "https://decks.example.org/o/a?b", None),
    ],
)
def test_marks_have_the_spaces_of_their_region(
    typed: str, canadian: str, french: str | None
) -> None:
    assert typography.set_french(typed, "CA") == canadian
    if french:
        assert typography.set_french(typed, "FR") == french


def test_elsewhere_the_high_marks_have_a_narrow_space() -> None:
    assert typography.set_french("Vraiment ?", "FR") == f"Vraiment{NARROW}?"


def test_a_page_keeps_its_tags_and_what_somebody_typed() -> None:
    page = (
        "<p title='l'un'>L&#x27;un : <a href=\"/a'b\">d'eau !</a></p><textarea>l'eau ?</textarea>"
    )

    assert typography.set_french_page(page, "CA") == (
        f"<p title='l'un'>L’un{NO_BREAK}: <a href=\"/a'b\">d’eau!</a></p>"
        "<textarea>l'eau ?</textarea>"
    )


def test_a_text_message_keeps_to_its_alphabet() -> None:
    assert typography.set_french_text_message("L'offre : prête ?", "CA") == "L'offre : prête?"


@pytest.mark.parametrize(
    ("place", "lines"),
    [
        # Canada Post, Australia Post, Royal Mail, USPS Publication 28: from memory
        (("Lunenburg", "Nova Scotia", "B0J 2C0", "CA"), ["Lunenburg NS  B0J 2C0"]),
        (("Lunenburg", "NS", "", "CA"), ["Lunenburg NS"]),
        (("Perth", "Western Australia", "6000", "AU"), ["Perth WA 6000"]),
        (("Camden", "Maine", "04843", "US"), ["Camden, ME 04843"]),
        (("Whitby", "", "YO21 1AA", "GB"), ["Whitby", "YO21 1AA"]),
        (("Husum", "Schleswig-Holstein", "25813", "DE"), ["25813 Husum"]),
        (("", "", "", "CA"), []),
    ],
)
def test_the_town_stands_as_the_post_of_its_country_wants_it(
    place: tuple[str, str, str, str], lines: list[str]
) -> None:
    town, region, postcode, country = place
    assert postal.town_lines(town=town, region=region, postcode=postcode, country=country) == lines
