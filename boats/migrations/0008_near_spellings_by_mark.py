import django.db.models.deletion
from django.db import migrations, models


def index_anew(apps, schema_editor):
    """The rows are made again, as marks, before the next look."""
    apps.get_model("boats", "Boat").objects.using(schema_editor.connection.alias).update(near_number="", near_name="")


class Migration(migrations.Migration):
    dependencies = [("boats", "0007_near_spellings")]
    operations = [
        migrations.DeleteModel(name="NearSpelling"),
        migrations.CreateModel(
            name="NearSpelling",
            fields=[
                ("id", models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name="ID")),
                ("mark", models.BigIntegerField()),
                (
                    "boat",
                    models.ForeignKey(
                        db_index=False,
                        on_delete=django.db.models.deletion.CASCADE,
                        related_name="+",
                        to="boats.boat",
                    ),
                ),
            ],
            options={
                "indexes": [
                    models.Index(fields=["mark", "boat"], name="boats_by_near_spelling"),
                    models.Index(fields=["boat"], name="boats_near_of_boat"),
                ]
            },
        ),
        migrations.RunPython(index_anew, migrations.RunPython.noop),
    ]
