from django.db import migrations

from office.audit.triggers import append_only


class Migration(migrations.Migration):
    """What was amended and who was reminded is never altered."""

    dependencies = [("certificates", "0005_renewals_reminders_amendments"), ("audit", "0002_trail_only_grows")]

    operations = [
        append_only("certificates_amendment"),
        append_only("certificates_amendmentdocument"),
        append_only("certificates_reminder"),
    ]
