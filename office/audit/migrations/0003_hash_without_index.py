from django.db import migrations, models

from office.audit.triggers import append_only


class Migration(migrations.Migration):
    dependencies = [("audit", "0002_trail_only_grows")]
    operations = [
        migrations.AlterField("entry", "hash", models.CharField(max_length=64)),
        # SQLite has rebuilt the table, and its triggers went with the old one.
        append_only("audit_entry"),
    ]
