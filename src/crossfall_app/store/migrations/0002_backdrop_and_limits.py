# mypy: ignore-errors
"""Creeks and railways behind the roads, and signed load limits."""

import crossfall_app.store.fields
import django.utils.timezone
from django.db import migrations, models


class Migration(migrations.Migration):

    dependencies = [
        ('store', '0001_first'),
    ]

    operations = [
        migrations.CreateModel(
            name='Backdrop',
            fields=[
                ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                ('position', models.IntegerField(default=0)),
                ('kind', models.CharField(max_length=40)),
                ('line', crossfall_app.store.fields.PackedJSONField()),
            ],
        ),
        migrations.CreateModel(
            name='LoadPosting',
            fields=[
                ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                ('created_at', models.DateTimeField(default=django.utils.timezone.now, editable=False)),
                ('created_by', models.CharField(blank=True, default='', max_length=150)),
                ('key', models.CharField(max_length=160, unique=True)),
                ('segment_ids', models.JSONField()),
                ('axle_t', models.FloatField()),
                ('authority', models.TextField()),
                ('signed_by', models.TextField()),
                ('up_at', models.DateTimeField()),
                ('down_at', models.DateTimeField(null=True)),
                ('reason', models.TextField(blank=True)),
            ],
            options={
                'abstract': False,
            },
        ),
    ]
