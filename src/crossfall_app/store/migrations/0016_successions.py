# mypy: ignore-errors
"""What vanished segments became on the map of today."""

import django.db.models.deletion
import django.utils.timezone
from django.db import migrations, models


class Migration(migrations.Migration):

    dependencies = [
        ('store', '0015_nights_out'),
    ]

    operations = [
        migrations.CreateModel(
            name='Succession',
            fields=[
                ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                ('created_at', models.DateTimeField(default=django.utils.timezone.now, editable=False)),
                ('created_by', models.CharField(blank=True, default='', max_length=150)),
                ('from_m', models.FloatField()),
                ('to_m', models.FloatField()),
                ('child_from_m', models.FloatField()),
                ('child_to_m', models.FloatField()),
                ('child', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='+', to='store.segment')),
                ('parent', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='successors', to='store.segment')),
            ],
            options={
                'abstract': False,
            },
        ),
    ]
