"""The ways to reach a client, changed on the client's page."""

from auditlog.models import LogEntry
from django.test import Client as Browser
from django.urls import reverse

from tests.clients.filled import page, rows
from tests.factories import (
    ClientFactory,
    EmailFactory,
    MessageFactory,
    PhoneFactory,
)


def test_the_ways_to_reach_a_client_are_changed_swapped_and_deleted(as_owner: Browser) -> None:
    client = ClientFactory(name="Marlow Pennington")
    one = EmailFactory(client=client, value="one@example.org")
    two = EmailFactory(client=client, value="two@example.org", is_preferred=False)
    gone = PhoneFactory(client=client)
    reaches = rows(
        {"pk": one.pk, "kind": "email", "value": "two@example.org"},
        {"pk": two.pk, "kind": "email", "value": "three@example.org", "is_preferred": "on"},
        {"pk": gone.pk, "kind": "mobile", "value": gone.value, "DELETE": "on"},
        {"kind": "phone", "value": "902-555-0177 ext. 5", "label": "Workshop"},
        {"kind": "email", "value": ""},
    )

    answer = as_owner.post(
        reverse("clients:edit", args=[client.pk]), {"name": "Marlow P.", **reaches}
    )

    assert answer.status_code == 302
    points = client.contact_points.order_by("normalized").values_list(
        "kind", "normalized", "is_preferred", "label"
    )
    assert list(points) == [
        ("phone", "+19025550177;ext=5", True, "Workshop"),
        ("email", "three@example.org", True, ""),
        ("email", "two@example.org", False, ""),
    ]


def test_saving_a_client_unchanged_leaves_no_trace(as_owner: Browser) -> None:
    client = ClientFactory()
    one = EmailFactory(client=client)
    two = EmailFactory(client=client, is_preferred=False)
    before = LogEntry.objects.count()
    reaches = rows(
        {"pk": one.pk, "kind": "email", "value": one.value, "is_preferred": "on"},
        {"pk": two.pk, "kind": "email", "value": two.value},
    )

    as_owner.post(reverse("clients:edit", args=[client.pk]), {"name": client.name, **reaches})

    assert LogEntry.objects.count() == before


def test_a_number_may_change_its_kind(as_owner: Browser) -> None:
    client = ClientFactory()
    phone = PhoneFactory(client=client, kind="phone")
    mobile = PhoneFactory(client=client, kind="mobile")
    reaches = rows(
        *({"pk": each.pk, "kind": "mobile", "value": each.value} for each in (phone, mobile))
    )

    as_owner.post(reverse("clients:edit", args=[client.pk]), {"name": client.name, **reaches})

    points = client.contact_points.order_by("id").values_list("pk", "kind", "is_preferred")
    assert sorted(points) == [(phone.pk, "mobile", False), (mobile.pk, "mobile", True)]


def test_an_address_written_twice_is_named(as_owner: Browser) -> None:
    client = ClientFactory()
    twice = rows(
        {"kind": "email", "value": "a@example.org"}, {"kind": "email", "value": "A@example.org"}
    )

    answer = as_owner.post(
        reverse("clients:edit", args=[client.pk]), {"name": client.name, **twice}
    )

    assert "written twice" in page(answer)
    assert not client.contact_points.exists()


def test_a_row_of_somebody_else_cannot_be_taken_over(as_owner: Browser) -> None:
    other = EmailFactory(value="other@example.org")
    client = ClientFactory()
    reaches = rows({"pk": other.pk, "kind": "email", "value": "mine@example.org"})

    as_owner.post(reverse("clients:edit", args=[client.pk]), {"name": client.name, **reaches})

    other.refresh_from_db()
    assert other.value == "other@example.org"
    assert client.contact_points.get().value == "mine@example.org"


def test_a_changed_address_is_not_written_to_any_more(as_owner: Browser) -> None:
    point = EmailFactory(value="old@example.org")
    waiting = MessageFactory(client=point.client, address="old@example.org")
    reaches = rows({"pk": point.pk, "kind": "email", "value": "new@example.org"})

    as_owner.post(
        reverse("clients:edit", args=[point.client_id]), {"name": point.client.name, **reaches}
    )

    waiting.refresh_from_db()
    assert waiting.state == "cancelled"
    assert "changed" in waiting.events.get().note


def test_a_number_nobody_uses_is_kept_with_a_warning(as_owner: Browser) -> None:
    client = ClientFactory()
    reaches = rows({"kind": "phone", "value": "+64 9 123 4567"})

    answer = as_owner.post(
        reverse("clients:edit", args=[client.pk]), {"name": client.name, **reaches}, follow=True
    )

    assert "Check it" in page(answer)
    assert client.contact_points.get().normalized == "+6491234567"
