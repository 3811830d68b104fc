from django.db import migrations

from office.audit.triggers import append_only


class Migration(migrations.Migration):
    """What a boat was known as, a rig as it was described and an ended limit are never rewritten."""

    dependencies = [("boats", "0002_spars_by_their_marks"), ("audit", "0001_initial")]
    operations = [
        append_only("boats_formerparticulars"),
        append_only("boats_mast"),
        append_only("boats_rig", allow_update_of=("until",)),
        append_only("boats_designlimit", allow_update_of=("ended_at",)),
    ]
