"""Addresses of the second factor and of confirming who one is: those of the library that are used, no others.

Their names are the library's own, which asks for its pages by them.
"""

from allauth.account import views as account
from allauth.mfa.base import views as base
from allauth.mfa.recovery_codes import views as recovery_codes
from allauth.mfa.totp import views as totp
from allauth.mfa.webauthn import views as keys
from django.contrib.auth.decorators import login_not_required
from django.urls import path

from office.people.views import entrance, second

urlpatterns = [
    path("sign-in/", entrance.sign_in, name="account_login"),  # the addresses that people:sign_in and
    path("sign-out/", entrance.sign_out, name="account_logout"),  # people:sign_out have as well
    path("confirm/", account.reauthenticate, name="account_reauthenticate"),
    path("confirm/code/", base.reauthenticate, name="mfa_reauthenticate"),
    path("confirm/key/", keys.reauthenticate_webauthn, name="mfa_reauthenticate_webauthn"),
    path("second/", second.show, name="mfa_index"),
    path("second/code/", base.authenticate, name="mfa_authenticate"),
    path("second/app/add/", totp.activate_totp, name="mfa_activate_totp"),
    path("second/app/remove/", totp.deactivate_totp, name="mfa_deactivate_totp"),
    path("second/recovery/", recovery_codes.view_recovery_codes, name="mfa_view_recovery_codes"),
    path("second/recovery/make/", recovery_codes.generate_recovery_codes, name="mfa_generate_recovery_codes"),
    path("second/recovery/file/", recovery_codes.download_recovery_codes, name="mfa_download_recovery_codes"),
    path("second/keys/", keys.list_webauthn, name="mfa_list_webauthn"),
    path("second/keys/add/", keys.add_webauthn, name="mfa_add_webauthn"),
    path("second/keys/<int:pk>/name/", keys.edit_webauthn, name="mfa_edit_webauthn"),
    path("second/keys/<int:pk>/remove/", keys.remove_webauthn, name="mfa_remove_webauthn"),
    path("sign-in/key/", login_not_required(keys.login_webauthn), name="mfa_login_webauthn"),
]
