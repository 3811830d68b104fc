from django.db import migrations

from office.audit.triggers import append_only

# A fresh office's settings until it makes its own edition. The limits are common practice, no source.
FIRST = {
    "office_name": "Rig Measurement Office",
    "reason": "First edition",
    "validity_rule": "calendar_year",
    "validity_months": 12,
    "change_limits": {
        "default": 5,
        "section_fore_aft_lower": 1,
        "section_transverse_lower": 1,
        "section_fore_aft_upper": 1,
        "section_transverse_upper": 1,
        "mast_weight": 1,
        "foretriangle_area": 0.05,
        "mainsail_triangle_area": 0.05,
        "mast_side_area": 0.02,
        "mast_front_area": 0.02,
        "mast_weight_moment": 5,
        "luff_foot_ratio": 0.005,
        "foretriangle_ratio": 0.005,
        "hoist_ratio": 0.005,
    },
}


def make_first(apps, schema_editor):
    apps.get_model("policy", "PolicyEdition").objects.create(**FIRST)


class Migration(migrations.Migration):
    dependencies = [("policy", "0001_initial"), ("audit", "0002_trail_only_grows")]
    operations = [
        migrations.RunPython(make_first, migrations.RunPython.noop),
        append_only("policy_policyedition"),
    ]
