# mypy: ignore-errors
"""Who depends on a road."""

from django.db import migrations, models


class Migration(migrations.Migration):

    dependencies = [
        ('store', '0016_successions'),
    ]

    operations = [
        migrations.AddField(
            model_name='segment',
            name='serves',
            field=models.TextField(blank=True, default=''),
        ),
    ]
