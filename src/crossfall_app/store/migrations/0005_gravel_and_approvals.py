# mypy: ignore-errors
"""Tests of gravel, piles, edges, dust control, contracts, and who approved a card."""

import django.db.models.deletion
import django.utils.timezone
from django.db import migrations, models


class Migration(migrations.Migration):

    dependencies = [
        ('store', '0004_inspections_and_hauls'),
    ]

    operations = [
        migrations.AddField(
            model_name='jobcard',
            name='approved_at',
            field=models.DateTimeField(null=True),
        ),
        migrations.AddField(
            model_name='jobcard',
            name='approved_by',
            field=models.TextField(blank=True, default=''),
        ),
        migrations.AddField(
            model_name='jobcard',
            name='confirmed_by',
            field=models.TextField(blank=True, default=''),
        ),
        migrations.AddField(
            model_name='jobcard',
            name='withdrawn_because',
            field=models.TextField(blank=True, default=''),
        ),
        migrations.CreateModel(
            name='Contract',
            fields=[
                ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                ('created_at', models.DateTimeField(default=django.utils.timezone.now, editable=False)),
                ('created_by', models.CharField(blank=True, default='', max_length=150)),
                ('key', models.CharField(max_length=160, unique=True)),
                ('title', models.TextField()),
                ('contractor', models.TextField()),
                ('ordered_loads', models.IntegerField()),
                ('ordered_dry_t', models.FloatField()),
                ('wanted_mm', models.FloatField()),
                ('items', models.JSONField()),
                ('hold_points', models.JSONField()),
                ('moisture_pct', models.FloatField()),
                ('tickets', models.JSONField()),
                ('depths_mm', models.JSONField()),
                ('accepted_by', models.TextField(blank=True)),
                ('accepted_on', models.DateField(null=True)),
                ('note', models.TextField(blank=True)),
                ('segment', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='contracts', to='store.segment')),
            ],
            options={
                'abstract': False,
            },
        ),
        migrations.CreateModel(
            name='DustApplication',
            fields=[
                ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                ('created_at', models.DateTimeField(default=django.utils.timezone.now, editable=False)),
                ('created_by', models.CharField(blank=True, default='', max_length=150)),
                ('key', models.CharField(max_length=160, unique=True)),
                ('applied_on', models.DateField()),
                ('product', models.TextField()),
                ('rate_l_m2', models.FloatField()),
                ('no_blade_until', models.DateField()),
                ('paid_by', models.TextField()),
                ('from_m', models.FloatField()),
                ('to_m', models.FloatField(null=True)),
                ('note', models.TextField(blank=True)),
                ('segment', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='dust', to='store.segment')),
            ],
            options={
                'abstract': False,
            },
        ),
        migrations.CreateModel(
            name='FittedEdge',
            fields=[
                ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                ('created_at', models.DateTimeField(default=django.utils.timezone.now, editable=False)),
                ('created_by', models.CharField(blank=True, default='', max_length=150)),
                ('key', models.CharField(max_length=160, unique=True)),
                ('name', models.TextField()),
                ('fitted_on', models.DateField()),
                ('life_km', models.FloatField()),
                ('note', models.TextField(blank=True)),
                ('machine', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='edges', to='store.machine')),
            ],
            options={
                'abstract': False,
            },
        ),
        migrations.CreateModel(
            name='MaterialTest',
            fields=[
                ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                ('created_at', models.DateTimeField(default=django.utils.timezone.now, editable=False)),
                ('created_by', models.CharField(blank=True, default='', max_length=150)),
                ('key', models.CharField(max_length=160, unique=True)),
                ('taken_on', models.DateField()),
                ('passing_pct', models.JSONField()),
                ('plasticity', models.FloatField(null=True)),
                ('is_non_plastic', models.BooleanField()),
                ('liquid_limit', models.FloatField(null=True)),
                ('linear_shrinkage_pct', models.FloatField(null=True)),
                ('loose_t_m3', models.FloatField(null=True)),
                ('laboratory', models.TextField(blank=True)),
                ('note', models.TextField(blank=True)),
                ('pit', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='tests', to='store.pit')),
            ],
            options={
                'abstract': False,
            },
        ),
        migrations.CreateModel(
            name='PileEntry',
            fields=[
                ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                ('created_at', models.DateTimeField(default=django.utils.timezone.now, editable=False)),
                ('created_by', models.CharField(blank=True, default='', max_length=150)),
                ('key', models.CharField(max_length=160, unique=True)),
                ('day', models.DateField()),
                ('loose_m3', models.FloatField()),
                ('reason', models.TextField(blank=True)),
                ('is_count', models.BooleanField()),
                ('pit', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='entries', to='store.pit')),
                ('supersedes', models.ForeignKey(null=True, on_delete=django.db.models.deletion.PROTECT, related_name='superseded_by', to='store.pileentry', to_field='key')),
            ],
            options={
                'abstract': False,
            },
        ),
    ]
