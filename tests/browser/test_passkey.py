"""A passkey in Chromium: set up where it is needed, then the way in alone, beside the password, and to confirm."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import pytest
from django.urls import reverse
from playwright.sync_api import Page, expect

from tests.cast import PASSWORD, make_cast

AUTHENTICATOR = {
    "protocol": "ctap2", "transport": "internal", "hasResidentKey": True, "hasUserVerification": True,
    "isUserVerified": True, "automaticPresenceSimulation": True,
}  # fmt: skip


@pytest.mark.django_db(transaction=True)
def test_a_passkey_from_the_first_day_on(
    page: Page, live_server: Any, settings: Any, no_axe_violations: Callable[[], None], look: Callable[[str], Any]
) -> None:
    settings.SECOND_FACTOR = True
    certifier = make_cast().certifier
    office = live_server.url.replace("127.0.0.1", "localhost")  # a passkey belongs to a name, never to a number
    devices = page.context.new_cdp_session(page)
    devices.send("WebAuthn.enable")
    devices.send("WebAuthn.addVirtualAuthenticator", {"options": AUTHENTICATOR})

    def with_password() -> None:
        page.goto(office + reverse("people:sign_in"))
        page.get_by_label("E-mail address").fill(certifier.email)
        page.get_by_label("Password").fill(PASSWORD)
        page.get_by_role("button", name="Sign in", exact=True).click()

    def sign_out() -> None:
        page.get_by_role("button", name="Sign out").click()
        expect(page.get_by_text("You are signed out.")).to_be_visible()

    with_password()
    expect(page.get_by_role("heading", name="Second factor")).to_be_visible()  # before anything else
    page.get_by_role("link", name="Add a passkey").click()
    page.get_by_label("What you call it").fill("My laptop")
    no_axe_violations()
    page.get_by_role("button", name="Add it").click()
    expect(page.get_by_role("heading", name="Recovery codes")).to_be_visible()
    no_axe_violations()
    sign_out()

    page.goto(office + reverse("people:sign_in"))
    page.get_by_role("button", name="Sign in with a passkey").click()
    expect(page.get_by_role("link", name=certifier.name)).to_be_visible()
    sign_out()

    with_password()
    expect(page.get_by_role("heading", name="Second step")).to_be_visible()
    no_axe_violations()
    look("second-step")
    page.get_by_role("button", name="Use a passkey").click()
    expect(page.get_by_role("link", name=certifier.name)).to_be_visible()

    page.goto(office + reverse("mfa_reauthenticate_webauthn") + "?next=" + reverse("people:account"))
    no_axe_violations()
    page.get_by_role("button", name="Use a passkey").click()
    expect(page.get_by_role("heading", name="Your account")).to_be_visible()
