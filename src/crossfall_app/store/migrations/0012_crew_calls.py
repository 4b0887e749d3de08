# mypy: ignore-errors
"""The word given to each operator for a day."""

import django.db.models.deletion
import django.utils.timezone
from django.db import migrations, models


class Migration(migrations.Migration):

    dependencies = [
        ('store', '0011_years_studies'),
    ]

    operations = [
        migrations.CreateModel(
            name='CrewCall',
            fields=[
                ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                ('created_at', models.DateTimeField(default=django.utils.timezone.now, editable=False)),
                ('created_by', models.CharField(blank=True, default='', max_length=150)),
                ('day', models.DateField(db_index=True)),
                ('call', models.CharField(max_length=40)),
                ('operator', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='calls', to='store.operator')),
            ],
            options={
                'abstract': False,
            },
        ),
    ]
