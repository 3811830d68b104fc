from django.db import migrations

from office.lookups import index_of_beginnings


class Migration(migrations.Migration):
    dependencies = [("people", "0004_counts")]
    operations = [
        index_of_beginnings("people_by_beginning_of_name", "people_person", "name"),
        index_of_beginnings("people_by_beginning_of_email", "people_person", "email"),
    ]
