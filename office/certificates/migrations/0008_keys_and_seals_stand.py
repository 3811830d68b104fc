from django.db import migrations

from office.audit.triggers import append_only


class Migration(migrations.Migration):
    """A key is only ever retired, which erases its private part; a seal is never altered."""

    dependencies = [("certificates", "0007_keys_and_seals"), ("audit", "0002_trail_only_grows")]

    operations = [
        append_only("certificates_officekey", allow_update_of=("retired_at", "private")),
        append_only("certificates_seal"),
    ]
