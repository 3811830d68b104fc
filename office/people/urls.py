"""Signing in and out, one's own account, and the people of the office."""

from django.urls import path

from office.people.views import account, authorisations, entrance, listing, people, second

app_name = "people"
urlpatterns = [
    path("", listing.list_people, name="list"),
    path("list.<str:kind>", listing.export, name="export"),
    path("sign-in/", entrance.sign_in, name="sign_in"),
    path("sign-out/", entrance.sign_out, name="sign_out"),
    path("account/", account.show, name="account"),
    path("account/password/", account.change_password, name="change_password"),
    path("account/lengths/", account.choose_lengths, name="choose_lengths"),
    path("invite/", people.invite, name="invite"),
    path("invitations/<str:key>/cancel/", people.cancel_invitation, name="cancel_invitation"),
    path("join/<str:token>/", entrance.accept_invitation, name="accept_invitation"),
    path("person/<str:key>/", people.show, name="person"),
    path("person/<str:key>/give-role/", people.give_role, name="give_role"),
    path("person/<str:key>/end-role/<str:role>/", people.end_role, name="end_role"),
    path("person/<str:key>/authorise/", authorisations.grant, name="authorise"),
    path("authorisations/<str:key>/withdraw/", authorisations.withdraw, name="withdraw_authorisation"),
    path("person/<str:key>/new-link/", people.send_new_link, name="send_new_link"),
    path("person/<str:key>/second/remove/", second.remove, name="remove_second_factor"),
    path("person/<str:key>/disable/", people.disable, name="disable"),
    path("person/<str:key>/enable/", people.enable, name="enable"),
]
