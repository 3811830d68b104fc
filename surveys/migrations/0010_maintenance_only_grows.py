from django.db import migrations

from office.audit.triggers import append_only


class Migration(migrations.Migration):
    """The log of maintenance only grows; calibrations, whose table the migration before may have made anew, still do."""

    dependencies = [("surveys", "0009_maintenance"), ("audit", "0001_initial")]
    operations = [append_only("surveys_maintenance"), append_only("surveys_calibration")]
