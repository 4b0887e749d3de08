# mypy: ignore-errors
"""Stretches, sides and photos of looks, the course of hazards and requests, and hauls."""

import django.utils.timezone
from django.db import migrations, models


class Migration(migrations.Migration):

    dependencies = [
        ('store', '0003_clearances'),
    ]

    operations = [
        migrations.CreateModel(
            name='HaulAgreement',
            fields=[
                ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                ('created_at', models.DateTimeField(default=django.utils.timezone.now, editable=False)),
                ('created_by', models.CharField(blank=True, default='', max_length=150)),
                ('key', models.CharField(max_length=160, unique=True)),
                ('company', models.TextField()),
                ('segment_ids', models.JSONField()),
                ('first_day', models.DateField()),
                ('last_day', models.DateField()),
                ('tonnes', models.FloatField()),
                ('bond', models.JSONField(null=True)),
                ('payload_t', models.FloatField(null=True)),
                ('signed_by', models.TextField(blank=True)),
                ('note', models.TextField(blank=True)),
            ],
            options={
                'abstract': False,
            },
        ),
        migrations.CreateModel(
            name='LoadExemption',
            fields=[
                ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                ('created_at', models.DateTimeField(default=django.utils.timezone.now, editable=False)),
                ('created_by', models.CharField(blank=True, default='', max_length=150)),
                ('key', models.CharField(max_length=160, unique=True)),
                ('segment_ids', models.JSONField()),
                ('holder', models.TextField()),
                ('granted_by', models.TextField()),
                ('granted_at', models.DateTimeField()),
                ('first_day', models.DateField()),
                ('last_day', models.DateField()),
                ('axle_t', models.FloatField(null=True)),
                ('agreement_key', models.CharField(max_length=160, null=True)),
                ('reason', models.TextField(blank=True)),
            ],
            options={
                'abstract': False,
            },
        ),
        migrations.AddField(
            model_name='condition',
            name='ditch',
            field=models.CharField(max_length=40, null=True),
        ),
        migrations.AddField(
            model_name='condition',
            name='dust',
            field=models.CharField(max_length=40, null=True),
        ),
        migrations.AddField(
            model_name='condition',
            name='from_m',
            field=models.FloatField(null=True),
        ),
        migrations.AddField(
            model_name='condition',
            name='photos',
            field=models.JSONField(default=list),
        ),
        migrations.AddField(
            model_name='condition',
            name='pothole_width_mm',
            field=models.FloatField(null=True),
        ),
        migrations.AddField(
            model_name='condition',
            name='shoulder',
            field=models.CharField(max_length=40, null=True),
        ),
        migrations.AddField(
            model_name='condition',
            name='side',
            field=models.CharField(default='both', max_length=40),
        ),
        migrations.AddField(
            model_name='condition',
            name='to_m',
            field=models.FloatField(null=True),
        ),
        migrations.AddField(
            model_name='hazard',
            name='barricaded_by',
            field=models.TextField(blank=True, default=''),
        ),
        migrations.AddField(
            model_name='hazard',
            name='noticed_by',
            field=models.TextField(blank=True, default=''),
        ),
        migrations.AddField(
            model_name='hazard',
            name='repaired_by',
            field=models.TextField(blank=True, default=''),
        ),
        migrations.AddField(
            model_name='request',
            name='at_m',
            field=models.FloatField(null=True),
        ),
        migrations.AddField(
            model_name='request',
            name='closed_on',
            field=models.DateField(null=True),
        ),
        migrations.AddField(
            model_name='request',
            name='distance_m',
            field=models.FloatField(null=True),
        ),
        migrations.AddField(
            model_name='request',
            name='merged_into',
            field=models.CharField(max_length=160, null=True),
        ),
        migrations.AddField(
            model_name='request',
            name='record_id',
            field=models.CharField(max_length=160, null=True),
        ),
        migrations.AddField(
            model_name='request',
            name='reply',
            field=models.TextField(blank=True, default=''),
        ),
        migrations.AddField(
            model_name='request',
            name='reply_approved_at',
            field=models.DateTimeField(null=True),
        ),
        migrations.AddField(
            model_name='request',
            name='reply_approved_by',
            field=models.TextField(blank=True, default=''),
        ),
        migrations.AddField(
            model_name='request',
            name='requested_at',
            field=models.DateTimeField(null=True),
        ),
        migrations.AddField(
            model_name='request',
            name='road',
            field=models.TextField(blank=True, default=''),
        ),
        migrations.AddField(
            model_name='request',
            name='source',
            field=models.TextField(blank=True, default=''),
        ),
        migrations.AddField(
            model_name='workrecord',
            name='agreement_key',
            field=models.CharField(max_length=160, null=True),
        ),
    ]
