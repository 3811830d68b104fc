from django.db import migrations

from office.audit.triggers import append_only


class Migration(migrations.Migration):
    """Why and from when a certificate was suspended is never altered; how it was lifted is added."""

    dependencies = [("certificates", "0003_suspension"), ("audit", "0002_trail_only_grows")]

    operations = [
        append_only(
            "certificates_suspension", allow_update_of=("lifted_from", "lift_reason", "lifted_at", "lifted_by_id")
        ),
    ]
