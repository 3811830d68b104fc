from django.db import migrations

from office.audit.triggers import append_only


class Migration(migrations.Migration):
    """An authorisation is never altered or removed; it is withdrawn once."""

    dependencies = [("people", "0006_authorisations"), ("audit", "0001_initial")]
    operations = [
        append_only(
            "people_authorisation",
            allow_update_of=("withdrawn_from", "withdrawn_by_id", "withdrawn_at", "withdrawal_reason"),
        )
    ]
