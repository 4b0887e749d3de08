# mypy: ignore-errors
"""What engineers signed, and who confirmed a designed job."""

import django.db.models.deletion
import django.utils.timezone
from django.db import migrations, models


class Migration(migrations.Migration):

    dependencies = [
        ('store', '0005_gravel_and_approvals'),
    ]

    operations = [
        migrations.AddField(
            model_name='job',
            name='confirmed_by',
            field=models.TextField(blank=True, default=''),
        ),
        migrations.CreateModel(
            name='DesignSignature',
            fields=[
                ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                ('created_at', models.DateTimeField(default=django.utils.timezone.now, editable=False)),
                ('created_by', models.CharField(blank=True, default='', max_length=150)),
                ('key', models.CharField(max_length=160, unique=True)),
                ('treatment', models.CharField(max_length=40)),
                ('signed_by', models.TextField()),
                ('capacity', models.TextField()),
                ('signed_on', models.DateField()),
                ('expires_on', models.DateField(null=True)),
                ('limit_t', models.FloatField(null=True)),
                ('note', models.TextField(blank=True)),
                ('is_withdrawn', models.BooleanField()),
                ('segment', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='signatures', to='store.segment')),
            ],
            options={
                'abstract': False,
            },
        ),
    ]
