from django.db import migrations
from django.db.models import Exists, OuterRef


def mark(apps, schema_editor):
    """The accepted visits that no certificate of theirs or of a later visit has settled yet."""
    visits = apps.get_model("surveys", "Visit").objects.using(schema_editor.connection.alias)
    certificates = apps.get_model("certificates", "Certificate").objects.using(schema_editor.connection.alias)
    own = certificates.filter(visit=OuterRef("pk"))
    overtaken = certificates.filter(boat=OuterRef("boat"), visit__date__gt=OuterRef("date"))
    visits.filter(~Exists(own), ~Exists(overtaken), state="accepted").update(awaits_certificate=True)


class Migration(migrations.Migration):
    """Which accepted visits wait for their certificate."""

    dependencies = [("certificates", "0010_amendment_seals_stand"), ("surveys", "0007_waiting")]
    operations = [migrations.RunPython(mark, migrations.RunPython.noop)]
