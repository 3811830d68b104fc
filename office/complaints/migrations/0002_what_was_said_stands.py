from django.db import migrations

from office.audit.triggers import append_only


class Migration(migrations.Migration):
    """What was said, by whom and when is never altered, nothing is removed; a complainant's name may be taken away."""

    dependencies = [("complaints", "0001_complaints"), ("audit", "0001_initial")]
    operations = [
        append_only(
            "complaints_complaint",
            allow_update_of=(
                "state", "edition", "complainant_name", "complainant_contact", "boat_id", "visit_id", "certificate_id",
                "instrument_id", "concerned_id", "acknowledged_on", "investigator_id", "told_on", "told_how",
            ),
        ),
        append_only("complaints_note"),
        append_only("complaints_decision"),
        append_only("complaints_consequence"),
    ]
