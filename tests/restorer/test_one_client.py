"""Everything about one client, for the client: complete, nobody else's, no secret of the program
(GDPR Art. 15 and 20; PIPEDA Sch. 1, 4.9)."""

import json
from datetime import date
from io import BytesIO
from typing import Any

from django.test import Client as Browser
from pypdf import PdfReader

from clients.models import Client
from jobs.actions.erasing import paths_to_client
from restorer.export import client_tables
from restorer.export.columns import exported_models
from tests.factories import (
    ConsentFactory,
    DeckFactory,
    EmailFactory,
    JobFactory,
    MessageFactory,
    PropertyFactory,
)
from tests.pdf_ua import faults


def known_client(name: str, street: str) -> Client:
    place = PropertyFactory(client__name=name, street=street)
    client: Client = place.client
    deck = DeckFactory(site=place, label=f"{name}'s deck")
    JobFactory(deck=deck, finished_on=date(2025, 6, 12), notes=f"Seen by {name}")
    EmailFactory(client=client, value=f"{name.split()[0].lower()}@example.org")
    ConsentFactory(client=client, wording=f"{name} may be e-mailed.")
    MessageFactory(client=client, subject=f"Dear {name}", text="Your deck is due.\n\nYours")
    return client


def test_the_file_holds_all_of_one_and_nothing_of_the_other(
    as_owner: Browser, business: Any
) -> None:
    mine = known_client("Ottilie Saltonby", "7 Plover Row")
    other = known_client("Marlow Pennington", "9 Gull Road")

    answer = as_owner.get(f"/clients/{mine.pk}/everything.json")
    text = answer.content.decode()
    told = json.loads(text)

    for words in ("Ottilie", "7 Plover Row", "ottilie@example.org", "Dear Ottilie", "Seen by Ott"):
        assert words in text, words
    for words in ("Marlow", "Gull Road"):
        assert words not in text, words
    assert answer["Cache-Control"] == "no-store"
    assert {row["id"] for row in told["tables"]["clients_client"]} == {mine.pk}
    described = {(each["table"], each["column"]) for each in told["columns"]}
    for table, rows in told["tables"].items():
        assert {(table, column) for column in rows[0]} <= described
        assert not [name for name in rows[0] if name.endswith("hash")]
    assert as_owner.get(f"/clients/{other.pk}/everything.json").status_code == 200


def test_each_table_that_leads_to_a_client_is_walked(business: Any) -> None:
    client = known_client("Ottilie Saltonby", "7 Plover Row")
    reached = {model._meta.db_table for model in exported_models() if model in paths_to_client()}
    assert set(client_tables(client)) <= reached
    assert {"clients_consent", "clients_message", "jobs_job", "clients_deck"} <= set(
        client_tables(client)
    )


def test_the_paper_says_it_in_the_clients_language_and_is_tagged(
    as_owner: Browser, business: Any
) -> None:
    client = known_client("Ottilie Saltonby", "7 Plover Row")
    for language, title in (("en", "What we keep about"), ("fr", "Ce que nous conservons")):
        Client.objects.filter(pk=client.pk).update(language=language)
        pdf = as_owner.get(f"/clients/{client.pk}/everything.pdf").content
        text = " ".join(
            " ".join(page.extract_text() for page in PdfReader(BytesIO(pdf)).pages).split()
        )
        assert title in text
        assert "Your deck is due." in text
        assert "may be e-mailed" in text
        assert faults(pdf) == []


def test_the_page_of_a_client_leads_there_for_the_owner_alone(
    as_owner: Browser, as_user: Any, office: Any
) -> None:
    client = known_client("Ottilie Saltonby", "7 Plover Row")
    address = f"/clients/{client.pk}/everything.pdf"
    assert address in as_owner.get(f"/clients/{client.pk}/").content.decode()
    assert address not in as_user(office).get(f"/clients/{client.pk}/").content.decode()
    assert as_user(office).get(address).status_code == 403
