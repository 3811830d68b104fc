"""What the libraries for sign-in tell us: for the trail where it changes something, for the log where it does not."""

from __future__ import annotations

import logging
from typing import Any

from allauth.account.internal.flows.login import record_authentication
from allauth.mfa import signals as mfa
from django.contrib.auth.signals import user_logged_in, user_logged_out, user_login_failed

from office.people import second

log = logging.getLogger("office.access")  # people by key, never by name or address


def connect() -> None:
    mfa.authenticator_added.connect(_added, dispatch_uid="office")
    mfa.authenticator_removed.connect(_removed, dispatch_uid="office")
    mfa.authenticator_reset.connect(_reset, dispatch_uid="office")
    mfa.authentication_failed.connect(_code_refused, dispatch_uid="office")
    user_logged_in.connect(_in, dispatch_uid="office")
    user_logged_out.connect(_out, dispatch_uid="office")
    user_login_failed.connect(_refused, dispatch_uid="office")


def _added(request: Any, user: Any, authenticator: Any, **_: Any) -> None:
    if authenticator.type in second.FACTORS:  # it was shown to be there: it need not be shown again at once
        record_authentication(request, user, method="mfa", id=authenticator.pk, type=authenticator.type)
        request.session.save()  # this may be told after the answer has been made
    second.noted("add_second_factor", user, authenticator.type)


def _removed(user: Any, authenticator: Any, **_: Any) -> None:
    second.noted("remove_own_second_factor", user, authenticator.type)


def _reset(user: Any, authenticator: Any, **_: Any) -> None:
    second.noted("renew_recovery_codes", user, authenticator.type)


def _code_refused(user: Any, **_: Any) -> None:
    log.warning("second factor refused", extra={"person": user.key})


def _in(user: Any, **_: Any) -> None:
    log.info("signed in", extra={"person": user.key})


def _out(user: Any, **_: Any) -> None:
    log.info("signed out", extra={"person": getattr(user, "key", "")})


def _refused(**_: Any) -> None:
    log.warning("sign-in refused")
