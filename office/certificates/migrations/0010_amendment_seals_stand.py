from django.db import migrations

from office.audit.triggers import append_only


class Migration(migrations.Migration):
    """The seal of an amendment is never altered."""

    dependencies = [("certificates", "0009_amendment_seals"), ("audit", "0002_trail_only_grows")]

    operations = [append_only("certificates_amendmentseal")]
