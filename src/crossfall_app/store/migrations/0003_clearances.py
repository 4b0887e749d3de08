# mypy: ignore-errors
"""Leave to work near what is not the agency's."""

import django.db.models.deletion
import django.utils.timezone
from django.db import migrations, models


class Migration(migrations.Migration):

    dependencies = [
        ('store', '0002_backdrop_and_limits'),
    ]

    operations = [
        migrations.CreateModel(
            name='Clearance',
            fields=[
                ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                ('created_at', models.DateTimeField(default=django.utils.timezone.now, editable=False)),
                ('created_by', models.CharField(blank=True, default='', max_length=150)),
                ('key', models.CharField(max_length=160, unique=True)),
                ('kind', models.CharField(max_length=40)),
                ('reference', models.TextField()),
                ('granted_by', models.TextField()),
                ('valid_from', models.DateField()),
                ('expires_on', models.DateField()),
                ('from_m', models.FloatField()),
                ('to_m', models.FloatField(null=True)),
                ('note', models.TextField(blank=True)),
                ('segment', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='clearances', to='store.segment')),
            ],
            options={
                'abstract': False,
            },
        ),
    ]
