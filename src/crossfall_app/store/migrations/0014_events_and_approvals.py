# mypy: ignore-errors
"""Event codes, what is gathered under them, and approvals of what stays open."""

import django.db.models.deletion
import django.utils.timezone
from django.db import migrations, models


class Migration(migrations.Migration):

    dependencies = [
        ('store', '0013_crew_calendar'),
    ]

    operations = [
        migrations.CreateModel(
            name='EndApproval',
            fields=[
                ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                ('created_at', models.DateTimeField(default=django.utils.timezone.now, editable=False)),
                ('created_by', models.CharField(blank=True, default='', max_length=150)),
                ('record_key', models.CharField(db_index=True, max_length=160)),
                ('kind', models.CharField(max_length=40)),
                ('approved_by', models.TextField()),
                ('until', models.DateField()),
                ('is_delineated', models.BooleanField()),
                ('is_height_limited', models.BooleanField()),
                ('note', models.TextField(blank=True)),
            ],
            options={
                'abstract': False,
            },
        ),
        migrations.CreateModel(
            name='Event',
            fields=[
                ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                ('created_at', models.DateTimeField(default=django.utils.timezone.now, editable=False)),
                ('created_by', models.CharField(blank=True, default='', max_length=150)),
                ('code', models.CharField(max_length=160, unique=True)),
                ('name', models.TextField()),
                ('first_day', models.DateField()),
                ('last_day', models.DateField(null=True)),
                ('note', models.TextField(blank=True)),
            ],
            options={
                'abstract': False,
            },
        ),
        migrations.CreateModel(
            name='EventItem',
            fields=[
                ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                ('created_at', models.DateTimeField(default=django.utils.timezone.now, editable=False)),
                ('created_by', models.CharField(blank=True, default='', max_length=150)),
                ('kind', models.CharField(max_length=40)),
                ('key', models.CharField(max_length=160)),
                ('is_in', models.BooleanField(default=True)),
                ('event', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='items', to='store.event')),
            ],
            options={
                'indexes': [models.Index(fields=['event', 'kind', 'key'], name='event_item')],
            },
        ),
    ]
