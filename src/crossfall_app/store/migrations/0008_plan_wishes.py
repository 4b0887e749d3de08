# mypy: ignore-errors
"""What people asked of a plan."""

import crossfall_app.store.fields
from django.db import migrations


class Migration(migrations.Migration):

    dependencies = [
        ('store', '0007_hours_and_corrections'),
    ]

    operations = [
        migrations.AddField(
            model_name='plan',
            name='wishes',
            field=crossfall_app.store.fields.PackedJSONField(default=list),
        ),
    ]
