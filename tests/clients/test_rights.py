"""Every named address, for everyone: who may open it, and what the browser is told to forbid."""

from collections.abc import Iterator
from typing import Any

import pytest
from django.test import Client as Browser
from django.test import override_settings
from django.urls import URLPattern, URLResolver, get_resolver, reverse

from clients.models import User
from tests.factories import ClientFactory

PUBLIC = {
    "phone_worker",
    "phone_manifest",
    "phone_token",
    "health",
    "metrics",
    "sign_in",
    "sign_out",
    "second_step",
    "sign_in_options",
    "sign_in_by_passkey",
    "forgotten_password",
    "password_by_link",
    "first_visit",
    "privacy",
    "logo_picture",
    "unsubscribe",
    "text_status",
    "text_inbound",
    "mail_reports",
    "offer_public",
    "offer_paper",
    "offer_photo",
    "offer_visit",
    "report_public",
    "report_paper",
    "report_photo",
    "client_page",
    "client_page_code",
    "client_page_photo",
    "client_page_care",
    "client_page_look",
    "crew_calendar",
}
EVERYBODY = """
    phone_day phone_offline phone_parts remove_view save_view
    today clients:list clients:new clients:detail clients:edit clients:add_consent
    clients:add_property clients:edit_property
    deck_forms:new deck_forms:edit decks:search decks:detail jobs:log jobs:visit jobs:visit_edit
    jobs:detail jobs:edit
    jobs:photos_add jobs:form_photo jobs:photo jobs:photo_change
    jobs:products jobs:product_new jobs:batch
    jobs:deck_files jobs:product_files jobs:document jobs:document_change
    jobs:trace
    jobs:scope
    jobs:structure jobs:check_photos jobs:defect_photos
    jobs:structure_report jobs:structure_paper jobs:defect_fixed
    jobs:colour diary:day_sheet
    jobs:to_buy jobs:sign_off jobs:care_record
    jobs:shelf jobs:tin_add jobs:tin_change settings:overview diary:week diary:booking
    diary:calendar_file diary:notes diary:on_the_way diary:next_visit outbox:take_back
    settings:sources
    settings:own_password settings:signing_in settings:prove_it_is_you settings:app
    settings:remove_app settings:recovery_codes settings:passkey_options settings:add_passkey
    settings:remove_passkey settings:end_session settings:end_other_sessions
""".split()
OWNER_AND_OFFICE = """
    diary:new diary:move diary:arrival diary:hold diary:release diary:call_off diary:hold_day
    diary:tell
    diary:crews
    diary:day_off_add diary:day_off_remove clients:archive clients:bring_back deck_forms:archive
    deck_forms:bring_back
    clients:doubles clients:merge clients:undo_merge deck_forms:merge deck_forms:undo_merge
    jobs:sold jobs:move_deck jobs:split_client jobs:split_deck
    deck_forms:change_many clients:archive_many
    clients:customers inbox jobs:care_send jobs:pack_add jobs:pack_change jobs:product_edit
    jobs:recall outbox:act outbox:detail outbox:list outbox:texts
    pacing:household pacing:plan reminders:due reminders:due_month
    reminders:remind reminders:stop_chosen settings:notices
    settings:ready steps:details steps:lift steps:otherwise steps:plan steps:stop
    outbox:to_do_done figures:overview figures:file clients:care_plan
    channels:letters channels:make_batch channels:batch channels:print_batch channels:post_batch
    channels:take_apart
    channels:enclosure channels:test_sheet channels:calls channels:note_call
    offers:list offers:send_chosen offers:detail offers:send offers:revise offers:withdraw
    offers:change
    offers:answer offers:pdf jobs:structure_send jobs:ledger
    jobs:settle jobs:paid_before
    prices:list prices:detail reminders:draft_offers reminders:redraft_offer
""".split()
OWNER = """
    diary:crew_new diary:crew_edit diary:crew_feed jobs:remove settings:business settings:people
    settings:mail_server settings:test_mail
    settings:add_person settings:person settings:set_password
    settings:require_second_step settings:reset_second_step settings:send_password_link
    settings:normals settings:add_normals settings:edit_normals settings:audit
    settings:undo_change
    settings:gateway settings:hook_secret settings:gateway_trial settings:coming_back steps:rules
    speech:texts speech:text speech:text_reset speech:text_look speech:law speech:law_rule
    backup backup_now backup_release backup_export programs program_add program_end
    webhooks webhook webhook_add webhook_edit webhook_repeat
    speech:domain speech:law_drop prices:new prices:terms prices:change prices:remove
    jobs:logo jobs:erase jobs:erasures client_json client_paper
    lists:choose lists:detail lists:undo lists:again lists:forget lists:row
""".split()
MAY = {
    "owner": {*EVERYBODY, *OWNER_AND_OFFICE, *OWNER},
    "office": {*EVERYBODY, *OWNER_AND_OFFICE},
    "crew": {*EVERYBODY},
}
SAMPLES = {
    "month": "2027-03",
    "token": "x" * 32,
    "secret": "x" * 40,
    "action": "cancel",
    "purpose": "first",
    "channel": "email",
    "language": "en",
    "jurisdiction": "CA",
    "medium": "email",
}


def named(patterns: list[Any], space: str = "") -> Iterator[tuple[str, dict[str, Any]]]:
    """Every name of the resolver with sample arguments."""
    for entry in patterns:
        if isinstance(entry, URLResolver):
            yield from named(
                entry.url_patterns, f"{space}{entry.namespace}:" if entry.namespace else space
            )
        elif isinstance(entry, URLPattern) and entry.name:
            arguments = {name: SAMPLES.get(name, 1) for name in entry.pattern.converters}
            yield f"{space}{entry.name}", arguments


def named_patterns() -> dict[str, dict[str, Any]]:
    return dict(named(get_resolver().url_patterns))


# programs open these with a token: tests/api/test_tokens.py
API = {name for name in named_patterns() if name.startswith("api:")}
ADDRESSES = {name: found for name, found in named_patterns().items() if name not in API}


def open_page(browser: Browser, name: str) -> Any:
    """By GET, or by an empty POST where only that is a way in."""
    address = reverse(name, kwargs=ADDRESSES[name])
    for ask in (browser.get, browser.post, browser.head):
        answer = ask(address)
        if answer.status_code != 405:
            break
    if answer.streaming:
        answer.close()  # a file that nobody reads here
    return answer


def test_every_address_says_who_may_open_it() -> None:
    listed = [*PUBLIC, *EVERYBODY, *OWNER_AND_OFFICE, *OWNER]

    assert sorted(ADDRESSES) == sorted(listed), (
        "a new page belongs into one of the lists of this file"
    )


@pytest.fixture
def _no_backup(monkeypatch: pytest.MonkeyPatch) -> None:
    """Who presses its button here must not set a process off."""
    monkeypatch.setattr("restorer.views.backup.start_backup", lambda: None)


@pytest.mark.usefixtures("_no_backup")
@pytest.mark.parametrize("name", sorted(set(ADDRESSES) - PUBLIC))
def test_a_page_is_open_to_its_roles_only(
    as_user: Any, crew: User, office: User, owner: User, name: str
) -> None:
    for user in (crew, office, owner):
        answer = open_page(as_user(user), name)
        is_page = answer.get("Content-Type", "").startswith("text/html")
        # RFC 9111, 5.2.2: papers and lists are not stored at all, pages for Back alone
        assert answer["Cache-Control"] == f"private, {'no-cache' if is_page else 'no-store'}" or (
            "no-store" in answer["Cache-Control"]
        )

        if name in MAY[user.role]:
            assert answer.status_code in {200, 302, 400, 404}, user.role
        else:
            assert answer.status_code == 403, user.role
            assert "Nothing was changed" in answer.content.decode()


@pytest.mark.parametrize("name", sorted(set(ADDRESSES) - PUBLIC))
def test_nothing_is_open_to_a_stranger(client: Browser, owner: User, name: str) -> None:
    address = reverse(name, kwargs=ADDRESSES[name])

    seen = client.get(address)
    sent = client.post(address, {"name": "x"})

    assert seen.status_code == 302
    assert seen["Location"].startswith(f"/sign-in/?next={address}")
    assert sent.status_code == 403


@pytest.mark.parametrize("path", ["/", "/sign-in/", "/nowhere/", "/settings/business/"])
def test_the_browser_is_told_to_run_nothing_but_ours(
    as_owner: Browser, client: Browser, path: str
) -> None:
    for browser in (as_owner, client):
        answer = browser.get(path)
        # W3C Content Security Policy Level 3, §6: each directive and its sources.
        policy = dict(
            part.strip().split(" ", 1) for part in answer["Content-Security-Policy"].split(";")
        )

        assert policy["default-src"] == "'none'"
        assert policy["script-src"] == policy["style-src"] == policy["form-action"] == "'self'"
        assert policy["frame-ancestors"] == policy["base-uri"] == "'none'"
        assert "unsafe" not in answer["Content-Security-Policy"]
        assert answer["X-Frame-Options"] == "DENY"
        assert answer["X-Content-Type-Options"] == "nosniff"
        assert answer["Referrer-Policy"] == "same-origin"
        assert "camera=()" in answer["Permissions-Policy"]


def test_cookies_are_out_of_reach_of_scripts_and_of_other_sites(
    client: Browser, owner: User
) -> None:
    secure = {"SESSION_COOKIE_SECURE": True, "CSRF_COOKIE_SECURE": True}
    with override_settings(**secure):
        client.get("/sign-in/", secure=True)
        client.post(
            "/sign-in/", {"username": "maren", "password": "low tide at seven"}, secure=True
        )

    for name in ("sessionid", "csrftoken"):
        cookie = client.cookies[name]
        assert cookie["httponly"]
        assert cookie["secure"]
        assert cookie["samesite"] == "Lax"


def test_a_form_with_ten_megabytes_of_text_is_refused_in_plain_words(as_owner: Browser) -> None:
    row = ClientFactory(notes="Gate code 4711")

    body = "name=x&notes=" + "a" * 10_000_000
    form_url = reverse("clients:edit", args=[row.pk])

    answer = as_owner.post(form_url, body, content_type="application/x-www-form-urlencoded")

    assert answer.status_code == 400
    assert "more than 5.0\xa0MB of text" in answer.content.decode()
    row.refresh_from_db()
    assert row.notes == "Gate code 4711"


def test_too_long_a_note_is_named_and_kept_on_the_page(as_owner: Browser) -> None:
    row = ClientFactory()
    rows = {"reach-TOTAL_FORMS": "0", "reach-INITIAL_FORMS": "0"}

    answer = as_owner.post(
        reverse("clients:edit", args=[row.pk]), {"name": "x", "notes": "a" * 20_001, **rows}
    )

    assert "20000 characters" in answer.content.decode()
    assert "a" * 20_001 in answer.content.decode()


@pytest.mark.parametrize(
    "data",
    [{}, {"reach-TOTAL_FORMS": "x"}, {"reach-TOTAL_FORMS": "9999", "reach-INITIAL_FORMS": "0"}],
)
def test_a_tampered_form_is_answered_not_a_crash(as_owner: Browser, data: dict[str, str]) -> None:
    row = ClientFactory(name="Marlow")

    answer = as_owner.post(reverse("clients:edit", args=[row.pk]), {"name": "Changed", **data})

    row.refresh_from_db()
    assert answer.status_code == 200
    assert row.name == "Marlow"


@pytest.mark.parametrize(
    "path",
    [
        "/clients/99999999999999999999999/",
        "/decks/new/99999999999999999999999/",
        "/settings/people/9223372036854775808/",
    ],
)
def test_a_number_no_row_can_have_is_not_found(as_owner: Browser, path: str) -> None:
    assert as_owner.get(path).status_code == 404


@pytest.mark.parametrize("text", ["Mar\x00low", "\ud800"])
def test_characters_that_are_none_never_reach_the_database(as_owner: Browser, text: str) -> None:
    row = ClientFactory(name="Marlow")
    rows = {"reach-TOTAL_FORMS": "0", "reach-INITIAL_FORMS": "0"}

    answer = as_owner.post(
        reverse("clients:edit", args=[row.pk]),
        {"name": text.encode("utf-8", "surrogatepass"), **rows},
    )

    row.refresh_from_db()
    assert answer.status_code in {200, 302}
    assert "\x00" not in row.name
