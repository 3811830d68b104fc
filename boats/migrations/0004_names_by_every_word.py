from django.db import migrations, models

from boats.names import name_from_word

A_BATCH = 2000


def fill(apps, schema_editor):
    boat = apps.get_model("boats", "Boat")
    batch = []
    for one in boat.objects.only("pk", "name").iterator(chunk_size=A_BATCH):
        for number in (2, 3, 4):
            setattr(one, f"name_from_{number}", name_from_word(one.name, number))
        if one.name_from_2:
            batch.append(one)
        if len(batch) == A_BATCH:
            boat.objects.bulk_update(batch, ["name_from_2", "name_from_3", "name_from_4"])
            batch = []
    boat.objects.bulk_update(batch, ["name_from_2", "name_from_3", "name_from_4"])


class Migration(migrations.Migration):
    """A boat is found by any word of her name."""

    dependencies = [("boats", "0003_what_stood_stays")]
    operations = [
        *(
            migrations.AddField(
                "boat", f"name_from_{number}", models.CharField(blank=True, default="", editable=False, max_length=80)
            )
            for number in (2, 3, 4)
        ),
        migrations.RunPython(fill, migrations.RunPython.noop, elidable=True),
        *(
            migrations.AlterField(
                "boat",
                f"name_from_{number}",
                models.CharField(blank=True, db_index=True, default="", editable=False, max_length=80),
            )
            for number in (2, 3, 4)
        ),
    ]
