from django.db import migrations

from office.audit.triggers import append_only


class Migration(migrations.Migration):
    """Readings, settlements, signatures and calibrations only grow."""

    dependencies = [("surveys", "0001_initial"), ("audit", "0001_initial")]
    operations = [
        append_only("surveys_reading"),
        append_only("surveys_settlement"),
        append_only("surveys_signoff"),
        append_only("surveys_calibration"),
    ]
