from django.db import migrations

from office.audit.triggers import append_only


class Migration(migrations.Migration):
    """What an owner declared is never altered; how the office settled it is added."""

    dependencies = [("boats", "0005_declarations_and_access"), ("audit", "0002_trail_only_grows")]

    operations = [
        append_only("boats_declaration", allow_update_of=("settled_at", "settled_by_id", "settlement")),
    ]
