"""Unsubscribing by the link (RFC 8058):
one POST, no cookie, no redirect, at once, and the same answer to everybody."""

from collections.abc import Callable
from contextlib import AbstractContextManager

import pytest
from django.core import mail
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext
from pytest_django import Settings

from clients.messaging import message_keys, outbox, suppression
from clients.messaging.models import Consent, Message, Suppression
from clients.messaging.reach import ContactPurpose, Refusal, route_to
from clients.models import Business
from tests.business_day import today_there
from tests.factories import ConsentFactory, EmailFactory
from tests.outbox import queued

pytestmark = pytest.mark.usefixtures("business")


def path_of(message: Message) -> str:
    link = message_keys.unsubscribe_link(Business.objects.get(), message)
    return link.removeprefix("https://decks.example.com")


@pytest.fixture
def mail_program() -> Client:
    """No session, no cookie, and the forgery check switched on as in production."""
    return Client(enforce_csrf_checks=True)


# RFC 8058, 3.2: the body is List-Unsubscribe=One-Click, as multipart/form-data or urlencoded
ENCODINGS = [
    {"data": {"List-Unsubscribe": "One-Click"}},
    {"data": "List-Unsubscribe=One-Click", "content_type": "application/x-www-form-urlencoded"},
]


@pytest.mark.parametrize("encoding", ENCODINGS, ids=["multipart", "urlencoded"])
def test_one_post_of_a_mail_program_unsubscribes(
    mail_program: Client, encoding: dict[str, str]
) -> None:
    message = queued(1)
    answer = mail_program.post(path_of(message), **encoding)
    assert answer.status_code == 200  # a redirect is forbidden: RFC 8058, 3.1
    assert (answer["Referrer-Policy"], answer["X-Robots-Tag"]) == ("no-referrer", "noindex")
    assert "no-store" in answer["Cache-Control"]
    newest = Consent.objects.filter(client=message.client)[0]
    assert (newest.is_given, newest.channel) == (False, "email")
    assert message.message_id in newest.evidence
    found = route_to(message.client, "email", ContactPurpose.MARKETING, on=today_there())
    assert isinstance(found, Refusal)


def test_what_is_queued_for_the_address_is_cancelled_at_once(mail_program: Client) -> None:
    first = queued(1)
    second = queued(2, address="CLIENT1@example.org")
    other = queued(3)
    mail_program.post(path_of(first))
    states = {message.pk: message.state for message in Message.objects.all()}
    assert states == {first.pk: "cancelled", second.pk: "cancelled", other.pk: "queued"}
    assert first.events.order_by("-id")[0].note == "Unsubscribed by the link in a message."


def test_only_a_keyed_hash_of_the_address_is_kept(mail_program: Client) -> None:
    message = queued(1)
    mail_program.post(path_of(message))
    row = Suppression.objects.get()
    assert row.address_hash == suppression.address_hash(
        Business.objects.get(), "email", "Client1@EXAMPLE.org"
    )
    assert "client1" not in f"{row.address_hash}{row.reason}"


def test_the_suppression_outlives_the_client(mail_program: Client) -> None:
    message = queued(1)
    mail_program.post(path_of(message))
    with connection.cursor() as cursor:
        cursor.execute("SET LOCAL restorer.erasing = 'on'")
    client = message.client
    Message.objects.all().delete()
    client.delete()
    point = EmailFactory(value="client1@example.org")
    ConsentFactory(client=point.client)
    assert isinstance(
        route_to(point.client, "email", ContactPurpose.MARKETING, on=today_there()), Refusal
    )


def test_repeated_and_unknown_tokens_get_the_same_answer(mail_program: Client) -> None:
    path = path_of(queued(1))
    answers = [mail_program.post(each) for each in (path, path, f"/u/{'a' * 40}/")]
    assert {answer.status_code for answer in answers} == {200}
    assert len({answer.content for answer in answers}) == 1
    assert (Suppression.objects.count(), Consent.objects.filter(is_given=False).count()) == (1, 1)


def test_a_link_that_was_cut_short_says_so_and_does_nothing(mail_program: Client) -> None:
    path = path_of(queued(1))

    for cut in (path[:-8] + "/", "/u/x/"):
        for answer in (mail_program.get(cut), mail_program.post(cut)):
            assert answer.status_code == 404
            assert "This link is not complete" in answer.content.decode()
            assert "You are unsubscribed" not in answer.content.decode()
    assert not Suppression.objects.exists()


def test_opening_the_link_changes_nothing(mail_program: Client) -> None:
    message = queued(1)
    page = mail_program.get(path_of(message))
    assert page.status_code == 200
    assert "<button>Unsubscribe</button>" in page.content.decode()
    assert mail_program.head(path_of(message)).status_code == 200
    message.refresh_from_db()
    assert (message.state, Suppression.objects.count()) == ("queued", 0)


def test_the_button_of_the_page_unsubscribes_without_scripts_or_cookies(
    mail_program: Client,
) -> None:
    message = queued(1)
    mail_program.get(path_of(message))
    answer = mail_program.post(path_of(message))
    assert "You are unsubscribed" in answer.content.decode()
    assert Suppression.objects.count() == 1


def test_unsubscribing_is_all_or_nothing(
    mail_program: Client, monkeypatch: pytest.MonkeyPatch
) -> None:
    message = queued(1)
    mail_program.raise_request_exception = False
    monkeypatch.setattr("clients.messaging.outbox.decisions.cancel_unsent", lambda **options: 1 / 0)
    assert mail_program.post(path_of(message)).status_code == 500
    assert (Suppression.objects.count(), Consent.objects.filter(is_given=False).count()) == (0, 0)


def test_a_changed_secret_key_leaves_old_links_working(
    mail_program: Client, settings: object
) -> None:
    path = path_of(queued(1))
    settings.SECRET_KEY = "another-one-" * 5  # type: ignore[attr-defined]
    mail_program.post(path)
    assert Suppression.objects.count() == 1


def test_the_answer_takes_a_fixed_number_of_queries(
    mail_program: Client, django_assert_num_queries: Callable[[int], AbstractContextManager[object]]
) -> None:
    """How long they take is measured by `manage.py bench`."""
    one = queued(1)
    many = queued(2)
    for number in range(3, 30):
        queued(number, client=many.client)
    with CaptureQueriesContext(connection) as first:
        mail_program.post(path_of(one))
    with django_assert_num_queries(len(first)):
        mail_program.post(path_of(many))


def test_the_page_is_in_the_language_of_the_message_or_for_an_unknown_link_of_the_business() -> (
    None
):
    message = queued(1)
    browser = Client()
    Message.objects.update(language="fr")

    asked = browser.get(path_of(message))
    done = browser.post(path_of(message))
    unknown = browser.get(f"/u/{'a' * 40}/")

    for answer, words in (
        (asked, "Ne plus recevoir ces messages"),
        (done, "Votre désabonnement est confirmé"),
    ):
        page = answer.content.decode()
        assert '<html lang="fr">' in page
        assert words in page
        assert "unsubscribe" not in page.lower()
    assert "Stop these messages?" in unknown.content.decode()
    assert (
        Consent.objects.filter(client=message.client)[0].wording
        == outbox.opt_out.UNSUBSCRIBED_BY_LINK
    )


@pytest.mark.parametrize(
    ("written", "clicked"),
    [
        (
            "Ines@Bücher.example",
            "ines@xn--bcher-kva.example",
        ),  # A-label of RFC 3492, 7.1 and its letters
        ("ines@XN--bcher-kva.example", "INES@bücher.example"),
        (
            "rene\N{COMBINING ACUTE ACCENT}e@example.org",
            "ren\N{LATIN SMALL LETTER E WITH ACUTE}e@example.org",
        ),
    ],
)
def test_another_spelling_of_the_address_is_the_same_address(
    mail_program: Client, written: str, clicked: str
) -> None:
    other = queued(1, address=written)
    own = queued(2, address=clicked)
    mail_program.post(path_of(own))
    other.refresh_from_db()
    own.refresh_from_db()
    assert (other.state, own.state) == ("cancelled", "cancelled")


@pytest.mark.django_db(transaction=True)
def test_what_waits_for_an_address_that_is_nobodys_goes_out_no_more(
    mail_program: Client, settings: Settings
) -> None:
    """Nothing is cancelled at once that no client has any more, and nothing goes there all the
    same."""
    settings.OUTBOX_BACKEND = "django.core.mail.backends.locmem.EmailBackend"
    first = queued(1)
    stray = queued(2)
    Message.objects.filter(pk=stray.pk).update(address=first.address)
    mail_program.post(path_of(first))

    outbox.deliver()

    stray.refresh_from_db()
    assert (stray.state, mail.outbox) == ("cancelled", [])
