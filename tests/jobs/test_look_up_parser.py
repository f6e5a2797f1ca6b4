"""What the look-up takes out of the words that were typed: the pure part."""

import pytest

from jobs.search import parse_question, split_words


def parsed(text: str) -> list[tuple[str, str]]:
    return [(part.topic.value, part.value) for part in parse_question(split_words(text))]


@pytest.mark.parametrize(
    ("text", "parts"),
    [
        ("saltonby 2023", [("word", "saltonby"), ("time", "2023")]),
        (
            "strips 2019 lunenburg",
            [("work", "strip"), ("time", "2019"), ("word", "lunenburg")],
        ),
        ("strips in 2019", [("work", "strip"), ("time", "2019")]),
        ("offer 114", [("offer", "114")]),
        ("quote no 114 saltonby", [("offer", "114"), ("word", "saltonby")]),
        ("soumission 114", [("offer", "114")]),
        ("offer tern", [("word", "offer"), ("word", "tern")]),
        ("may 2023", [("time", "2023-05")]),
        ("2023 mai", [("time", "2023-05")]),
        ("saltonby sept 2022", [("word", "saltonby"), ("time", "2022-09")]),
        ("2023-05", [("time", "2023-05")]),
        ("2023-13", [("word", "202313")]),
        ("may", [("time", "-05")]),
        ("en fevrier", [("time", "-02")]),
        ("mar", [("word", "mar")]),
        ("spring 2021", [("time", "2021~spring")]),
        ("automne 2020", [("time", "2020~autumn")]),
        ("spring lane", [("word", "spring"), ("word", "lane")]),
        ("decapage 2019", [("work", "strip"), ("time", "2019")]),
        ("clean and recoat 2020", [("work", "recoat"), ("time", "2020")]),
        ("nettoyage et nouvelle couche", [("work", "recoat")]),
        ("recoats 2020 2021", [("work", "recoat"), ("time", "2020"), ("time", "2021")]),
        ("archived overdue", [("state", "archived"), ("state", "overdue")]),
        ("en retard truro", [("state", "overdue"), ("word", "truro")]),
        ("1949", [("word", "1949")]),
        ("2019 2021", [("time", "2019"), ("time", "2021")]),
        ("902 555 0123", [("word", "9025550123")]),
        ("17 gannet", [("word", "17"), ("word", "gannet")]),
        ("sm 24 117", [("word", "sm"), ("word", "24"), ("word", "117")]),
        ("", []),
    ],
)
def test_times_work_states_and_offers_are_taken_out(
    text: str, parts: list[tuple[str, str]]
) -> None:
    assert parsed(text) == parts


@pytest.mark.parametrize(
    ("names", "number"),
    [("january janvier", "01"), ("august aout", "08"), ("december decembre", "12")],
)
def test_months_are_known_in_both_languages(names: str, number: str) -> None:
    """Names of months as CLDR has them in English and French (from memory), folded."""
    for name in names.split():
        assert parsed(f"{name} 2020") == [("time", f"2020-{number}")]
