# mypy: ignore-errors
"""Machines of a plan that stand out overnight."""

import crossfall_app.store.fields
from django.db import migrations


class Migration(migrations.Migration):

    dependencies = [
        ('store', '0014_events_and_approvals'),
    ]

    operations = [
        migrations.AddField(
            model_name='plan',
            name='stays',
            field=crossfall_app.store.fields.PackedJSONField(default=list),
        ),
    ]
