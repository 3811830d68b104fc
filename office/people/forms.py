"""Forms of the pages about people. What they let through, the actions still judge."""

from __future__ import annotations

from typing import Any, Protocol

from django import forms
from django.contrib.auth.forms import AuthenticationForm
from django.contrib.auth.password_validation import password_validators_help_texts, validate_password
from django.utils import timezone

from office.people.authorisation_models import KINDS_OF_WORK, Grounds
from office.people.models import Lengths, Person, Role

LONGEST_PASSWORD = 256
REASON = forms.CharField(
    label="Reason",
    max_length=500,
    widget=forms.Textarea(attrs={"rows": 2}),
    error_messages={"required": "Say why; one sentence is enough."},
)


def _password(label: str, *, new: bool) -> forms.CharField:
    return forms.CharField(
        label=label,
        max_length=LONGEST_PASSWORD,
        strip=False,
        widget=forms.PasswordInput(attrs={"autocomplete": "new-password" if new else "current-password"}),
    )


class SignInForm(AuthenticationForm):
    """One sentence for every way to fail, so that nobody learns which addresses the office knows."""

    error_messages = dict.fromkeys(
        ("invalid_login", "inactive"),
        "This e-mail address and this password do not belong together. Passwords tell capitals apart.",
    )

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["username"].label = "E-mail address"
        self.fields["username"].widget = forms.EmailInput(attrs={"autocomplete": "username", "autofocus": True})
        self.fields["password"].label = "Password"


class NewPasswordMixin(forms.Form):
    """A new password typed twice and held to the office's rules for passwords."""

    def check_new_password(self, person: Person) -> None:
        first, again = self.cleaned_data.get("new_password"), self.cleaned_data.get("again")
        if first and again and first != again:
            self.add_error("again", "The two passwords differ; type the same one twice.")
        elif first:
            try:
                validate_password(first, person)
            except forms.ValidationError as problem:
                self.add_error("new_password", problem)


class Inviting(Protocol):
    """An invitation of any kind: whom it is for, and who they are where the office knows them."""

    email: str
    name: str

    @property
    def person(self) -> Person | None: ...


class AcceptForm(NewPasswordMixin):
    name = forms.CharField(
        label="Your name", max_length=120, widget=forms.TextInput(attrs={"autocomplete": "name"}),
        help_text="As it is to stand on certificates and in the office's lists.",
    )  # fmt: skip
    new_password = _password("Password", new=True)
    again = _password("The same password again", new=True)

    def __init__(self, *args: Any, invitation: Inviting, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.invitation = invitation
        self.fields["name"].initial = invitation.name
        self.fields["new_password"].help_text = " ".join(password_validators_help_texts())
        if invitation.person is not None:
            del self.fields["name"]

    def clean(self) -> None:
        super().clean()
        name = self.cleaned_data.get("name", self.invitation.name)
        self.check_new_password(Person(email=self.invitation.email, name=name))


class ChangePasswordForm(NewPasswordMixin):
    present = _password("Present password", new=False)
    new_password = _password("New password", new=True)
    again = _password("The new password again", new=True)

    def __init__(self, *args: Any, person: Person, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.person = person
        self.fields["new_password"].help_text = " ".join(password_validators_help_texts())

    def clean(self) -> None:
        super().clean()
        self.check_new_password(self.person)


class NameForm(forms.Form):
    name = forms.CharField(label="Name", max_length=120, widget=forms.TextInput(attrs={"autocomplete": "name"}))


class LengthsForm(forms.Form):
    """`next`: the page to go back to, of this office only; the view sees to that."""

    lengths = forms.ChoiceField(label="Lengths", choices=Lengths.choices, widget=forms.RadioSelect)
    next = forms.CharField(required=False, max_length=2000, widget=forms.HiddenInput)


class InviteForm(forms.Form):
    name = forms.CharField(label="Name", max_length=120)
    email = forms.EmailField(label="E-mail address", max_length=200)
    roles = forms.MultipleChoiceField(label="Roles", choices=Role.choices, widget=forms.CheckboxSelectMultiple)
    reason = forms.CharField(label="Reason", max_length=500, required=False)


class GiveRoleForm(forms.Form):
    role = forms.ChoiceField(label="Role", choices=Role.choices)
    reason = forms.CharField(label="Reason", max_length=500, required=False)


class ReasonForm(forms.Form):
    reason = REASON


def _day(label: str, **options: Any) -> forms.DateField:
    return forms.DateField(
        label=label,
        widget=forms.DateInput(attrs={"type": "date"}, format="%Y-%m-%d"),
        input_formats=["%Y-%m-%d"],
        error_messages={"invalid": "Expected a date as in 2026-05-04."},
        **options,
    )


class AuthoriseForm(forms.Form):
    methods = forms.MultipleChoiceField(
        label="Methods and kinds of work", choices=list(KINDS_OF_WORK.items()), widget=forms.CheckboxSelectMultiple
    )
    since = _day("First day", initial=timezone.localdate)
    until = _day("Last day", required=False, help_text="Empty: until it is withdrawn.")
    grounds = forms.ChoiceField(label="It rests on", choices=Grounds.choices)
    evidence = forms.CharField(
        label="Which one, when, with what result",
        max_length=1000,
        widget=forms.Textarea(attrs={"rows": 3}),
        help_text="Which training; which visit, and who was there; with whom compared, and how far they agreed.",
    )


class WithdrawAuthorisationForm(forms.Form):
    withdrawn_from = _day(
        "First day without it", initial=timezone.localdate,
        help_text="A day in the past: what was measured since is to be looked at again.",
    )  # fmt: skip
    reason = REASON


class PeopleFilter(forms.Form):
    name = forms.CharField(label="Name or e-mail", max_length=120, required=False)
    role = forms.ChoiceField(label="Role", choices=[("", "Any"), *Role.choices], required=False)
    state = forms.ChoiceField(
        label="State", choices=[("", "Any"), ("active", "Active"), ("disabled", "Disabled")], required=False
    )
