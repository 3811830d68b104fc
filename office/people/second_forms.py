"""The form for a new passkey, in the office's words."""

from __future__ import annotations

from typing import Any

from allauth.mfa.webauthn.forms import AddWebAuthnForm


class PasskeyForm(AddWebAuthnForm):
    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["name"].label = "What you call it"
        if alone := self.fields.get("passwordless"):
            alone.label = "It signs in by itself, without the password"
            alone.help_text = "Untick it for an old key without finger, face or code: then it comes after the password."
            alone.initial = True
