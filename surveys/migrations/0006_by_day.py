import django.db.models.functions.comparison
from django.db import migrations, models

from office.lookups import index_of_beginnings


class Migration(migrations.Migration):
    """The list of visits in the order of their days, and searched by harbour or place, from an index."""

    dependencies = [("surveys", "0005_searched_by_harbour")]
    operations = [
        migrations.AddIndex(
            model_name="visit",
            index=models.Index(
                django.db.models.functions.comparison.Coalesce("date", "planned_on"), "id", name="visits_by_day"
            ),
        ),
        index_of_beginnings("visits_by_beginning_of_harbour", "surveys_visit", "harbour"),
        index_of_beginnings("visits_by_beginning_of_place", "surveys_visit", "place"),
    ]
