from django.core.management import call_command
from django.db import migrations


def make(apps, schema_editor):
    """The framework's own table for what is counted; there already, it stays as it is."""
    call_command("createcachetable", "people_counts", database=schema_editor.connection.alias, verbosity=0)


class Migration(migrations.Migration):
    """Where the limits count, for every process alike."""

    dependencies = [("people", "0003_searched_by_name")]
    operations = [migrations.RunPython(make, migrations.RunPython.noop)]
