from django.db import migrations


def index_anew(apps, schema_editor):
    """Numbers are indexed whole too; the index fills itself at the next list."""
    alias = schema_editor.connection.alias
    apps.get_model("boats", "Boat").objects.using(alias).update(near_number="", near_name="")


class Migration(migrations.Migration):
    dependencies = [("boats", "0009_near_numbers_with_names")]
    operations = [migrations.RunPython(index_anew, migrations.RunPython.noop)]
