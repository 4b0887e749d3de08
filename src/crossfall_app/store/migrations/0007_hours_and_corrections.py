# mypy: ignore-errors
"""Rain by the hour, and observations that correct an earlier one."""

from django.db import migrations, models

import crossfall_app.store.fields


class Migration(migrations.Migration):

    dependencies = [
        ('store', '0006_design_signatures'),
    ]

    operations = [
        migrations.AddField(
            model_name='forecast',
            name='rain_hour_mm',
            field=crossfall_app.store.fields.PackedArrayField(null=True),
        ),
        migrations.AddField(
            model_name='observation',
            name='supersedes',
            field=models.TextField(blank=True, default=''),
        ),
        migrations.AddField(
            model_name='weatherrecord',
            name='rain_hour_mm',
            field=crossfall_app.store.fields.PackedArrayField(null=True),
        ),
    ]
