"""Passkeys by the published examples of the standard, and answers that are none."""

import base64
import json
from dataclasses import replace
from typing import Any

import pytest
from django.test import Client as Browser
from django.urls import reverse

from clients.models import Passkey, User
from clients.signing_in import (
    PasskeyError,
    PasskeySite,
    check_new_passkey,
    check_passkey_use,
    passkey_id_of,
)
from tests.signing_in import OWN, signed_in

# W3C Web Authentication, level 3, 16.2 "ES256 Credential with No Attestation"; 16.1 names the site
SITE = PasskeySite("example.org", "https://example.org")
CREDENTIAL_ID = "f91f391db4c9b2fde0ea70189cba3fb63f579ba6122b33ad94ff3ec330084be4"
MADE_CHALLENGE = "00c30fb78531c464d2b6771dab8d7b603c01162f2fa486bea70f283ae556e130"
MADE_CLIENT_DATA = (
    "7b2274797065223a22776562617574686e2e637265617465222c226368616c6c656e6765"
    "223a22414d4d507434557878475453746e63647134313759447742466938767049612d70"
    "77386f4f755657345441222c226f726967696e223a2268747470733a2f2f6578616d706c"
    "652e6f7267222c2263726f73734f726967696e223a66616c73652c226578747261446174"
    "61223a22636c69656e74446174614a534f4e206d617920626520657874656e6465642077"
    "697468206164646974696f6e616c206669656c647320696e20746865206675747572652c"
    "207375636820617320746869733a20426b5165446a646354427258426941774a544c4535"
    "51227d"
)
ATTESTATION = (
    "a363666d74646e6f6e656761747453746d74a068617574684461746158a4bfabc3743295"
    "8b063360d3ad6461c9c4735ae7f8edd46592a5e0f01452b2e4b559000000008446ccb9ab"
    "1db374750b2367ff6f3a1f0020f91f391db4c9b2fde0ea70189cba3fb63f579ba6122b33"
    "ad94ff3ec330084be4a5010203262001215820afefa16f97ca9b2d23eb86ccb64098d20d"
    "b90856062eb249c33a9b672f26df61225820930a56b87a2fca66334b03458abf879717c1"
    "2cc68ed73290af2e2664796b9220"
)
USED_CHALLENGE = "39c0e7521417ba54d43e8dc95174f423dee9bf3cd804ff6d65c857c9abf4d408"
AUTHENTICATOR_DATA = "bfabc37432958b063360d3ad6461c9c4735ae7f8edd46592a5e0f01452b2e4b51900000000"
USED_CLIENT_DATA = (
    "7b2274797065223a22776562617574686e2e676574222c226368616c6c656e6765223a22"
    "4f63446e55685158756c5455506f334a5558543049393770767a7a59425039745a636858"
    "79617630314167222c226f726967696e223a2268747470733a2f2f6578616d706c652e6f"
    "7267222c2263726f73734f726967696e223a66616c73657d"
)
SIGNATURE = (
    "3046022100f50a4e2e4409249c4a853ba361282f09841df4dd4547a13a87780218deffcd"
    "380221008480ac0f0b93538174f575bf11a1dd5d78c6e486013f937295ea13653e331e87"
)
LOCAL = {"HTTP_HOST": "localhost", "HTTP_ORIGIN": "http://localhost"}


def url_text(hexes: str) -> str:
    """As browsers write bytes in JSON (base64url, RFC 4648, 5, without padding)."""
    return base64.urlsafe_b64encode(bytes.fromhex(hexes)).decode().rstrip("=")


def answer(**parts: str) -> str:
    name = url_text(CREDENTIAL_ID)
    response = {key: url_text(value) for key, value in parts.items()}
    return json.dumps({"id": name, "rawId": name, "type": "public-key", "response": response})


MADE = answer(clientDataJSON=MADE_CLIENT_DATA, attestationObject=ATTESTATION)


def used_answer(**over: str) -> str:
    parts = {
        "clientDataJSON": USED_CLIENT_DATA,
        "authenticatorData": AUTHENTICATOR_DATA,
        "signature": SIGNATURE,
    }
    return answer(**{**parts, **over})


def check_use(text: str, **over: Any) -> Any:
    known = check_new_passkey(MADE, challenge=bytes.fromhex(MADE_CHALLENGE), site=SITE)
    asked = {"challenge": bytes.fromhex(USED_CHALLENGE), "site": SITE, "verify_person": False}
    return check_passkey_use(text, known, **{**asked, **over})


def test_the_example_of_the_standard_is_made_and_used() -> None:
    made = check_new_passkey(MADE, challenge=bytes.fromhex(MADE_CHALLENGE), site=SITE)
    assert (made.credential_id.hex(), made.sign_count) == (CREDENTIAL_ID, 0)
    assert passkey_id_of(used_answer()).hex() == CREDENTIAL_ID

    used = check_use(used_answer())

    assert (used.sign_count, used.is_person_verified) == (0, False)


@pytest.mark.parametrize(
    "over",
    [
        {"challenge": bytes.fromhex(MADE_CHALLENGE)},
        {"site": replace(SITE, host="example.com")},
        {"site": replace(SITE, origin="https://login.example.org")},
        {"site": replace(SITE, origin="http://example.org")},
        {"verify_person": True},  # the example was only touched
    ],
)
def test_an_answer_for_something_else_is_refused(over: dict[str, Any]) -> None:
    with pytest.raises(PasskeyError):
        check_use(used_answer(), **over)


@pytest.mark.parametrize("part", ["clientDataJSON", "authenticatorData", "signature"])
def test_an_answer_with_one_byte_changed_is_refused(part: str) -> None:
    whole = {"clientDataJSON": USED_CLIENT_DATA, "authenticatorData": AUTHENTICATOR_DATA}
    text = whole.get(part, SIGNATURE)
    changed = text[:-4] + f"{(int(text[-4:-2], 16) ^ 1):02x}" + text[-2:]

    with pytest.raises(PasskeyError):
        check_use(used_answer(**{part: changed}))


def test_a_counter_that_does_not_grow_is_refused() -> None:
    known = check_new_passkey(MADE, challenge=bytes.fromhex(MADE_CHALLENGE), site=SITE)
    with pytest.raises(PasskeyError):  # 7.2, step 22: the one kept is above the one sent
        check_passkey_use(
            used_answer(),
            replace(known, sign_count=5),
            challenge=bytes.fromhex(USED_CHALLENGE),
            site=SITE,
            verify_person=False,
        )


RUBBISH = ["", "x", "null", "[]", "{}", '{"rawId": 1}', '{"rawId": "AA"}', '{"rawId": {}}']
RUBBISH += [MADE, used_answer(), "[" * 5000, '{"rawId": "\\ud800"}', "x" * 30_000]


@pytest.mark.parametrize("text", RUBBISH)
def test_what_is_no_answer_signs_nobody_in_and_makes_nothing(owner: User, text: str) -> None:
    Passkey.objects.create(
        user=owner,
        name="phone",
        credential_id=bytes.fromhex(CREDENTIAL_ID),
        public_key=b"x",
        added_at=owner.date_joined,
    )
    stranger = Browser(**LOCAL)
    assert stranger.post(reverse("sign_in_options"), **OWN | LOCAL).json()["rpId"] == "localhost"
    tried = stranger.post(reverse("sign_in_by_passkey"), {"answer": text}, **OWN | LOCAL)
    assert tried.status_code == 302
    assert tried["Location"] == reverse("sign_in")

    own = signed_in(owner_without_step(owner))
    own.post(reverse("settings:passkey_options"), **OWN)
    added = own.post(reverse("settings:add_passkey"), {"name": "x", "answer": text}, **OWN)
    assert added.status_code == 302
    assert not Passkey.objects.exists()


def owner_without_step(person: User) -> User:
    Passkey.objects.all().delete()
    return person
