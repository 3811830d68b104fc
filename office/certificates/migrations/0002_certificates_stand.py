from django.db import migrations

from office.audit.triggers import append_only
from office.certificates import constraints


def create(apps, schema_editor):
    constraints.create(schema_editor.connection)


def drop(apps, schema_editor):
    constraints.drop(schema_editor.connection)


class Migration(migrations.Migration):
    """What a certificate states is never altered, only how it ends is added; one in force for each boat and day."""

    dependencies = [("certificates", "0001_initial"), ("audit", "0002_trail_only_grows")]

    operations = [
        append_only(
            "certificates_certificate",
            allow_update_of=("in_force_before", "ending", "ended_on", "ended_at", "ended_by_id", "ending_reason"),
        ),
        append_only("certificates_document"),
        migrations.RunPython(create, drop),
    ]
