"""The tests' own ground: what a test with real transactions leaves behind, and that nothing reaches the network."""

from __future__ import annotations

import socket

import pytest
from django.db import DatabaseError, connection

from office.audit import triggers
from office.policy import queries
from office.policy.models import PolicyEdition


@pytest.mark.django_db(transaction=True)
@pytest.mark.parametrize("time", ["first", "second"])
def test_every_test_with_real_transactions_begins_with_the_first_policy_and_all_triggers(time):
    assert PolicyEdition.objects.count() == 1
    assert triggers.missing(connection) == []
    edition = queries.current()
    edition.office_name = "Changed"
    with pytest.raises(DatabaseError):
        edition.save()
    PolicyEdition.objects.create(office_name="A second one")


def test_a_test_cannot_reach_the_network():
    with socket.socket() as somewhere, pytest.raises(pytest.fail.Exception, match=r"192\.0\.2\.1"):
        somewhere.connect(("192.0.2.1", 80))  # an address that RFC 5737 keeps for documentation
