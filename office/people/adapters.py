"""What the library for sign-in asks us."""

from __future__ import annotations

from typing import Any

from allauth.account.adapter import DefaultAccountAdapter
from allauth.core import context
from allauth.mfa.adapter import DefaultMFAAdapter
from allauth.mfa.models import Authenticator
from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect

from office.people import second
from office.people.confirming import is_recent
from office.people.models import Person


class Accounts(DefaultAccountAdapter):
    """People join by invitation only, and write no mail through the library."""

    def is_open_for_signup(self, request: HttpRequest) -> bool:
        return False

    def respond_user_inactive(self, request: HttpRequest, user: Any) -> HttpResponse:
        """A disabled person with a passkey hears what a wrong password hears."""
        messages.error(request, "This sign-in is not known here.")
        return redirect("people:sign_in")

    def is_reauthentication_required(self, *, app: str, **kwargs: Any) -> bool:
        """Who has just signed in, or confirmed who they are, is not asked again at once."""
        return not (context.request is not None and is_recent(context.request))

    def get_reauthentication_methods(self, user: Any) -> list[dict[str, Any]]:
        """Whoever has a second factor confirms with it: the app's code first, or the passkey where there is no app."""
        ways: list[dict[str, Any]] = super().get_reauthentication_methods(user)
        if not (isinstance(user, Person) and second.has_one(user)):
            return ways
        has_app = Authenticator.objects.filter(user=user, type=Authenticator.Type.TOTP).exists()
        own = [way for way in ways if way["id"] != "reauthenticate"]
        return sorted(own, key=lambda way: (way["id"] == "mfa_reauthenticate:webauthn") == has_app)

    def add_message(self, *args: Any, **kwargs: Any) -> None:
        """The library's messages name things of its own; errors alone are passed on, our pages say the rest."""
        level = args[1] if len(args) > 1 else kwargs.get("level")
        if level is not None and level >= messages.ERROR:
            super().add_message(*args, **kwargs)


class Factors(DefaultMFAAdapter):
    def generate_authenticator_name(self, user: Any, type: Any) -> str:  # noqa: A002  (the library's own word)
        """What a new passkey is called until its owner says otherwise."""
        return f"Passkey {Authenticator.objects.filter(user=user, type=type).count() + 1}"

    def encrypt(self, text: str) -> str:
        return second.sealed(text)

    def decrypt(self, encrypted_text: str) -> str:
        return second.opened(encrypted_text)

    def can_delete_authenticator(self, authenticator: Any) -> bool:
        """Whoever needs a second factor keeps at least one."""
        person = Person.objects.get(pk=authenticator.user_id)
        return not second.is_needed(person) or second.has_one(person, besides=authenticator.pk)
