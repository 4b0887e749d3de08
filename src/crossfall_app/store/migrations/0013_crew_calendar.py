# mypy: ignore-errors
"""Reserved hours, work that only takes hours, and hours barred on roads."""

import crossfall_app.store.fields
import django.utils.timezone
from django.db import migrations, models


class Migration(migrations.Migration):

    dependencies = [
        ('store', '0012_crew_calls'),
    ]

    operations = [
        migrations.CreateModel(
            name='OtherWork',
            fields=[
                ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                ('created_at', models.DateTimeField(default=django.utils.timezone.now, editable=False)),
                ('created_by', models.CharField(blank=True, default='', max_length=150)),
                ('key', models.CharField(max_length=160, unique=True)),
                ('kind', models.CharField(max_length=40)),
                ('hours', models.FloatField()),
                ('who', models.JSONField()),
                ('first_day', models.DateField()),
                ('last_day', models.DateField()),
                ('note', models.TextField(blank=True)),
                ('is_dropped', models.BooleanField(default=False)),
            ],
            options={
                'abstract': False,
            },
        ),
        migrations.CreateModel(
            name='Reservation',
            fields=[
                ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                ('created_at', models.DateTimeField(default=django.utils.timezone.now, editable=False)),
                ('created_by', models.CharField(blank=True, default='', max_length=150)),
                ('key', models.CharField(max_length=160, unique=True)),
                ('day', models.DateField(db_index=True)),
                ('start_min', models.FloatField()),
                ('end_min', models.FloatField()),
                ('kind', models.CharField(max_length=40)),
                ('machine_id', models.TextField(null=True)),
                ('operator_id', models.TextField(null=True)),
                ('note', models.TextField(blank=True)),
                ('is_dropped', models.BooleanField(default=False)),
            ],
            options={
                'abstract': False,
            },
        ),
        migrations.CreateModel(
            name='RoadBan',
            fields=[
                ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                ('created_at', models.DateTimeField(default=django.utils.timezone.now, editable=False)),
                ('created_by', models.CharField(blank=True, default='', max_length=150)),
                ('key', models.CharField(max_length=160, unique=True)),
                ('segment_ids', models.JSONField()),
                ('start_min', models.FloatField()),
                ('end_min', models.FloatField()),
                ('reason', models.TextField()),
                ('weekdays', models.JSONField()),
                ('first_day', models.DateField(null=True)),
                ('last_day', models.DateField(null=True)),
                ('is_dropped', models.BooleanField(default=False)),
            ],
            options={
                'abstract': False,
            },
        ),
        migrations.AddField(
            model_name='plan',
            name='reserved',
            field=crossfall_app.store.fields.PackedJSONField(default=list),
        ),
    ]
