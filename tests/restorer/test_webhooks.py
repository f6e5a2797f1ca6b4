"""Other programs are told of what happens: signed, by a real HTTP peer, tried again, set aside
with a reason; and no address that a setting names leads to where it must not."""

import hmac
import ipaddress
import json
import socket
import threading
from base64 import b64decode, b64encode
from collections.abc import Callable, Iterator
from datetime import UTC, date, datetime, timedelta
from hashlib import sha256
from http.server import BaseHTTPRequestHandler, HTTPServer
from typing import Any

import pytest
from django.db import connection
from django.test import Client as Browser
from django.urls import reverse
from django.utils import timezone

from clients import outward
from clients.messaging.channels.email import SmtpTransport
from clients.messaging.channels.text import GatewayTransport
from clients.messaging.channels.transport import TransportDownError
from clients.messaging.models import MailServer
from clients.models import Business, Deck, User
from jobs.actions.offer_answers import decline_offer
from reminders.actions import refresh_forecasts
from reminders.models import Forecast
from restorer import tasks, webhooks
from restorer.models import Webhook, WebhookPost
from restorer.webhooks import posting
from tests.factories import CoatFactory, DeckFactory, OfferFactory, ProductFactory
from tests.gateway import gateway_row
from tests.jobs.log_page import URL, filled, row

pytestmark = pytest.mark.django_db
NOW = datetime(2026, 6, 1, 12, tzinfo=UTC)
ASKED = datetime(2026, 11, 25, 12, tzinfo=UTC)
State = WebhookPost.State


class Listener(HTTPServer):
    """Another program: answers as planned, then 204, and keeps what it was told."""

    def __init__(self) -> None:
        super().__init__(("127.0.0.1", 0), Answering)
        self.plan: list[int] = []
        self.heard: list[tuple[dict[str, str], bytes]] = []

    @property
    def url(self) -> str:
        return f"http://localhost:{self.server_port}/told"


class Answering(BaseHTTPRequestHandler):
    server: Listener

    def do_POST(self) -> None:
        body = self.rfile.read(int(self.headers["Content-Length"]))
        headers = {name.lower(): value for name, value in self.headers.items()}
        self.server.heard.append((headers, body))
        status = self.server.plan.pop(0) if self.server.plan else 204
        if status == 0:
            self.close_connection = True  # the answer is lost
            return
        self.send_response(status)
        self.send_header("Location", "http://169.254.169.254/")
        self.send_header("Content-Length", "0")
        self.end_headers()

    def log_message(self, format: str, *args: Any) -> None:
        pass


@pytest.fixture
def listener(settings: Any) -> Iterator[Listener]:
    settings.WEBHOOK_NETWORKS = ["127.0.0.1/32", "::1/128"]
    server = Listener()
    thread = threading.Thread(target=server.serve_forever, kwargs={"poll_interval": 0.02})
    thread.start()
    yield server
    server.shutdown()
    server.server_close()
    thread.join()


def hook_to(url: str, *kinds: str, name: str = "Accounts") -> Webhook:
    hook = Webhook(name=name, url=url, kinds=list(kinds or Webhook.Kind.values), made_at=NOW)
    hook.keep_secret(webhooks.new_signing_secret())
    hook.save()
    return hook


def let_time_pass() -> None:
    WebhookPost.objects.filter(state=State.WAITING).update(not_before=timezone.now())


def test_the_signature_is_that_of_the_specification() -> None:
    """The example that the Standard Webhooks specification's libraries are tested with."""
    headers = webhooks.signed_headers(
        secret="whsec_MfKQ9r8GKYqrTwjUPD8ILPZIo2LaLaSw",
        message_id="msg_p5jXN8AQM9LWM0D4loKWxJek",
        timestamp=1614265330,
        body=b'{"test": 2432232314}',
    )
    assert headers["webhook-signature"] == "v1,g0hM9SsE+OTPJTGt/tmIKtSyZlE3uFJELVlNIOLJ1OE="


def test_a_logged_job_is_told_signed_and_without_a_name(
    as_owner: Browser, business: Business, listener: Listener
) -> None:
    hook = hook_to(listener.url)
    deck = DeckFactory()
    as_owner.post(URL, filled(deck, row(ProductFactory())))

    assert tasks.tell_programs() == "1 posts taken"

    (headers, body), *others = listener.heard
    told = json.loads(body)
    assert others == []
    assert told["type"] == "job.logged"
    assert told["data"]["deck_id"] == deck.pk
    assert deck.site.client.name not in body.decode()
    # HMAC by the standard library, over id.timestamp.body
    content = f"{headers['webhook-id']}.{headers['webhook-timestamp']}.".encode() + body
    signature = hmac.new(b64decode(hook.secret[6:]), content, sha256).digest()
    assert headers["webhook-signature"] == f"v1,{b64encode(signature).decode()}"
    assert abs(int(headers["webhook-timestamp"]) - timezone.now().timestamp()) < 60
    assert tasks.tell_programs() == "0 posts taken"


def test_what_is_not_taken_is_tried_ever_more_rarely_with_the_same_number(
    business: Business, listener: Listener
) -> None:
    hook = hook_to(listener.url)
    webhooks.send_trial_post(hook=hook, now=timezone.now())
    listener.plan = [500, 0, 301]
    pauses = []
    for _ in range(3):
        before = timezone.now()
        assert webhooks.post_webhooks() == 0
        pauses.append(WebhookPost.objects.get().not_before - before)
        let_time_pass()

    assert webhooks.post_webhooks() == 1

    post = WebhookPost.objects.get()
    assert [round(pause / timedelta(minutes=1)) for pause in pauses] == [1, 4, 16]
    assert {headers["webhook-id"] for headers, _ in listener.heard} == {f"msg_{post.event_id.hex}"}
    assert len(listener.heard) == 4  # no redirect was followed
    assert [each.status for each in post.tries.order_by("id")] == [500, None, 301, 204]
    assert (post.state, post.attempts) == (State.TAKEN, 4)


def test_after_twelve_tries_it_is_set_aside_with_its_reason_until_somebody_asks_again(
    as_owner: Browser, business: Business, listener: Listener
) -> None:
    hook = hook_to(listener.url)
    webhooks.send_trial_post(hook=hook, now=timezone.now())
    listener.plan = [503] * 12
    for _ in range(12):
        webhooks.post_webhooks()
        let_time_pass()

    post = WebhookPost.objects.get()
    page = as_owner.get(f"/settings/programs/told/{hook.pk}/").content.decode()
    assert (post.state, post.reply) == (State.SET_ASIDE, "Given up after 12 tries. 503")
    assert "Given up after 12 tries. 503" in page
    assert "1 set aside" in as_owner.get("/settings/programs/told/").content.decode()
    as_owner.post(f"/settings/programs/posts/{post.pk}/")
    assert webhooks.post_webhooks() == 1


def test_an_address_that_fails_keeps_no_other_from_its_turn(
    business: Business, listener: Listener
) -> None:
    with socket.socket() as free:
        free.bind(("127.0.0.1", 0))
        dead = f"http://127.0.0.1:{free.getsockname()[1]}/"
    gone, fine = hook_to(dead, name="Gone"), hook_to(listener.url)
    for hook in (gone, gone, gone, fine, fine):
        webhooks.send_trial_post(hook=hook, now=timezone.now())

    assert webhooks.post_webhooks() == 2
    assert list(gone.posts.order_by("id").values_list("attempts", "state")) == [
        (1, State.WAITING),
        (0, State.WAITING),
        (0, State.WAITING),
    ]


def test_an_address_that_says_it_is_gone_is_left_alone(
    business: Business, listener: Listener
) -> None:
    hook = hook_to(listener.url)
    webhooks.send_trial_post(hook=hook, now=timezone.now())
    listener.plan = [410]

    webhooks.post_webhooks()

    hook.refresh_from_db()
    assert not hook.is_on
    assert "410" in hook.why_off
    assert WebhookPost.objects.get().state == State.SET_ASIDE


def test_what_a_dead_sender_held_goes_out_once_its_lease_is_over(
    business: Business, listener: Listener
) -> None:
    webhooks.send_trial_post(hook=hook_to(listener.url), now=timezone.now())
    (held,) = posting.claim_posts(set())
    assert webhooks.post_webhooks() == 0
    with connection.cursor() as cursor:
        cursor.execute("UPDATE restorer_webhookpost SET lease_until = now() - interval '1 s'")

    assert webhooks.post_webhooks() == 1
    posting.record_try(held, posting.PostOutcome(500, "late"))  # the dead one wakes
    assert WebhookPost.objects.get().state == State.TAKEN


def test_a_held_book_tells_nothing(business: Business, listener: Listener) -> None:
    webhooks.send_trial_post(hook=hook_to(listener.url), now=timezone.now())
    Business.objects.update(sending_held_at=NOW)

    assert webhooks.post_webhooks() == 0
    assert listener.heard == []


def test_an_answer_to_an_offer_is_told_once(business: Business) -> None:
    hook = hook_to("https://accounts.example.com/", "offer.answered")
    hook_to("https://other.example.com/", "job.logged", name="Other")
    offer = OfferFactory(is_sent=True, token_hash="a" * 64, valid_until=date(2026, 12, 24))
    for _ in range(2):
        decline_offer(token_hash="a" * 64, reason="price", words="", name="Otto", now=ASKED)

    post = WebhookPost.objects.get()
    assert post.hook == hook
    assert json.loads(post.body)["data"] == {
        "offer_id": offer.pk,
        "client_id": offer.client_id,
        "state": "declined",
    }


def test_a_deck_is_told_due_once_a_coat(business: Business) -> None:
    hook_to("https://accounts.example.com/", "deck.due")
    deck = CoatFactory(job__finished_on=date(2024, 5, 1)).job.deck
    refresh_forecasts(deck_ids=[deck.pk], today=NOW.date(), now=NOW)
    Forecast.objects.update(due_on=NOW.date(), boards_due_on=NOW.date())
    archived = CoatFactory(job__finished_on=date(2024, 5, 1)).job.deck
    refresh_forecasts(deck_ids=[archived.pk], today=NOW.date(), now=NOW)
    Forecast.objects.filter(deck=archived).update(due_on=NOW.date(), boards_due_on=NOW.date())
    Deck.objects.filter(pk=archived.pk).update(archived_at=NOW)

    for day in range(3):
        webhooks.announce_due_decks(now=NOW + timedelta(days=day))

    data = [json.loads(post.body)["data"] for post in WebhookPost.objects.all()]
    assert data == [{"deck_id": deck.pk, "client_id": deck.site.client_id, "due_on": "2026-06-01"}]


def test_the_owner_makes_an_address_and_sees_its_secret_once(
    as_owner: Browser, owner: User
) -> None:
    form = {"name": "Accounts", "url": "https://accounts.example.com/in", "is_on": "on"}
    none = as_owner.post("/settings/programs/told/new/", form).content.decode()
    made = as_owner.post("/settings/programs/told/new/", form | {"kinds": ["job.logged"]})
    twice = as_owner.post("/settings/programs/told/new/", form | {"kinds": ["job.logged"]})
    plain = as_owner.post(
        "/settings/programs/told/new/",
        form | {"name": "Two", "kinds": ["job.logged"], "url": "http://example.com/"},
    )

    hook = Webhook.objects.get()
    assert "Choose at least one." in none
    assert hook.secret in made.content.decode()
    assert "no-store" in made["Cache-Control"]
    assert hook.secret not in as_owner.get("/settings/programs/told/").content.decode()
    assert hook.secret not in hook.secret_sealed
    assert "Another address has this name" in twice.content.decode()
    assert "begins with https://" in plain.content.decode()
    as_owner.post(f"/settings/programs/told/{hook.pk}/", {"test": "1"})
    assert hook.posts.get().kind == "test"
    as_owner.post(f"/settings/programs/told/{hook.pk}/", {"end": "1"})
    assert not Webhook.objects.exists()


@pytest.mark.parametrize(
    ("address", "is_public", "is_own"),
    [
        # registries of special-purpose addresses: RFC 6890; documentation: RFC 5737, RFC 3849
        ("93.184.216.34", True, True),
        ("2606:2800:220:1::1", True, True),
        ("127.0.0.1", False, True),
        ("::1", False, True),
        ("10.1.2.3", False, True),
        ("172.16.0.1", False, True),
        ("192.168.1.1", False, True),
        ("fd12::1", False, True),
        ("::ffff:10.0.0.1", False, True),  # RFC 4291, 2.5.5.2
        ("64:ff9b::a00:1", False, True),  # RFC 6052: 10.0.0.1
        ("100.64.0.1", False, False),  # RFC 6598
        ("0.0.0.0", False, False),  # noqa: S104 - nothing is bound
        ("224.0.0.1", False, False),
        ("169.254.1.1", False, False),  # RFC 3927
        ("169.254.169.254", False, False),
        ("::ffff:169.254.169.254", False, False),
        ("64:ff9b::a9fe:a9fe", False, False),
        ("fe80::1", False, False),
        ("fd00:ec2::254", False, False),
        ("100.100.100.200", False, False),
        ("2002:a9fe:a9fe::1", False, False),  # RFC 3056
    ],
)
def test_which_addresses_a_setting_may_reach(address: str, is_public: bool, is_own: bool) -> None:
    found = ipaddress.ip_address(address)
    assert outward.is_allowed(found, may_be_own=False) == is_public
    assert outward.is_allowed(found, may_be_own=True) == is_own


def names_lead_to(monkeypatch: pytest.MonkeyPatch, *addresses: str) -> Callable[..., Any]:
    def found(host: str, port: int, *args: Any, **kwargs: Any) -> list[Any]:
        return [(socket.AF_INET, socket.SOCK_STREAM, 6, "", (each, port)) for each in addresses]

    monkeypatch.setattr(socket, "getaddrinfo", found)
    return found


def test_a_name_is_looked_at_when_it_is_used_and_one_bad_address_is_enough(
    business: Business, listener: Listener, monkeypatch: pytest.MonkeyPatch
) -> None:
    hook = hook_to("http://accounts.example.com/")
    webhooks.send_trial_post(hook=hook, now=timezone.now())
    names_lead_to(monkeypatch, "127.0.0.1", "169.254.169.254")

    webhooks.post_webhooks()

    assert listener.heard == []
    assert "no setting may reach" in WebhookPost.objects.get().reply


def test_mail_server_and_gateway_are_looked_at_too(
    business: Business, monkeypatch: pytest.MonkeyPatch, settings: Any
) -> None:
    settings.EMAIL_FROM_ENVIRONMENT = False
    MailServer.objects.create(id=1, host="mail.example.com", port=25, security="none")
    gateway_row("http://sms.example.com/messages")
    names_lead_to(monkeypatch, "169.254.169.254")

    for transport in (SmtpTransport(business), GatewayTransport(business)):
        with pytest.raises(TransportDownError, match="no setting may reach"):
            transport.connect()


def test_a_test_mail_does_not_try_out_what_no_setting_may_reach(
    as_owner: Browser, business: Business, monkeypatch: pytest.MonkeyPatch, settings: Any
) -> None:
    settings.EMAIL_FROM_ENVIRONMENT = False
    MailServer.objects.create(id=1, host="mail.example.com", port=25, security="none")
    names_lead_to(monkeypatch, "169.254.169.254")

    sent = {"to": "maren@example.com"}
    page = as_owner.post(reverse("settings:test_mail"), sent, follow=True).content.decode()

    assert "169.254.169.254, which no setting may reach" in page
    assert Business.objects.get().mail_tested_with == business.mail_tested_with
