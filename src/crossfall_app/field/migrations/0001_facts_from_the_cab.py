"""Phones, facts from the cab, photos, and what became of them."""

# ruff: noqa: RUF012
# mypy: disallow-subclassing-any=False

import django.db.models.deletion
from django.db import migrations, models


class Migration(migrations.Migration):
    initial = True

    dependencies = [
        ("store", "0001_first"),
    ]

    operations = [
        migrations.CreateModel(
            name="PairingTry",
            fields=[
                (
                    "id",
                    models.BigAutoField(
                        auto_created=True, primary_key=True, serialize=False, verbose_name="ID"
                    ),
                ),
                ("at", models.DateTimeField(db_index=True)),
            ],
        ),
        migrations.CreateModel(
            name="Device",
            fields=[
                (
                    "id",
                    models.BigAutoField(
                        auto_created=True, primary_key=True, serialize=False, verbose_name="ID"
                    ),
                ),
                ("key", models.CharField(max_length=36, unique=True)),
                ("name", models.CharField(max_length=150)),
                ("paired_at", models.DateTimeField()),
                ("paired_by", models.CharField(max_length=150)),
                ("revoked_at", models.DateTimeField(null=True)),
                ("revoked_by", models.CharField(blank=True, default="", max_length=150)),
                ("seen_at", models.DateTimeField(null=True)),
                ("release", models.CharField(blank=True, default="", max_length=40)),
                ("skew_s", models.FloatField(default=0.0)),
                ("waiting", models.IntegerField(default=0)),
                (
                    "machine",
                    models.ForeignKey(
                        null=True,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="devices",
                        to="store.machine",
                    ),
                ),
            ],
        ),
        migrations.CreateModel(
            name="DeviceKey",
            fields=[
                (
                    "id",
                    models.BigAutoField(
                        auto_created=True, primary_key=True, serialize=False, verbose_name="ID"
                    ),
                ),
                ("sha256", models.CharField(max_length=64, unique=True)),
                ("made_at", models.DateTimeField()),
                (
                    "device",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.CASCADE,
                        related_name="keys",
                        to="field.device",
                    ),
                ),
            ],
        ),
        migrations.CreateModel(
            name="Fact",
            fields=[
                ("number", models.BigAutoField(primary_key=True, serialize=False)),
                ("key", models.CharField(max_length=36, unique=True)),
                ("sequence", models.BigIntegerField()),
                ("kind", models.CharField(db_index=True, max_length=40)),
                ("at", models.DateTimeField(db_index=True)),
                ("at_phone", models.DateTimeField()),
                ("received_at", models.DateTimeField()),
                ("day", models.DateField(db_index=True)),
                ("seen", models.BigIntegerField(default=0)),
                ("card_key", models.CharField(db_index=True, max_length=160, null=True)),
                ("machine_key", models.CharField(db_index=True, max_length=160)),
                ("payload", models.JSONField()),
                ("fingerprint", models.CharField(max_length=64)),
                ("by", models.CharField(max_length=150)),
                ("doubts", models.JSONField(default=list)),
                (
                    "device",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="facts",
                        to="field.device",
                    ),
                ),
            ],
        ),
        migrations.CreateModel(
            name="Decision",
            fields=[
                (
                    "id",
                    models.BigAutoField(
                        auto_created=True, primary_key=True, serialize=False, verbose_name="ID"
                    ),
                ),
                ("kind", models.CharField(max_length=40)),
                ("at", models.DateTimeField()),
                ("by", models.CharField(max_length=150)),
                ("because", models.TextField(blank=True, default="")),
                ("record_key", models.CharField(max_length=160, null=True)),
                ("winner_key", models.CharField(max_length=36, null=True)),
                (
                    "fact",
                    models.OneToOneField(
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="decision",
                        to="field.fact",
                    ),
                ),
            ],
        ),
        migrations.CreateModel(
            name="PairingCode",
            fields=[
                (
                    "id",
                    models.BigAutoField(
                        auto_created=True, primary_key=True, serialize=False, verbose_name="ID"
                    ),
                ),
                ("sha256", models.CharField(max_length=64, unique=True)),
                ("name", models.CharField(max_length=150)),
                ("made_at", models.DateTimeField()),
                ("made_by", models.CharField(max_length=150)),
                ("expires_at", models.DateTimeField()),
                ("used_at", models.DateTimeField(null=True)),
                (
                    "machine",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.CASCADE,
                        related_name="+",
                        to="store.machine",
                    ),
                ),
            ],
        ),
        migrations.CreateModel(
            name="Photo",
            fields=[
                (
                    "id",
                    models.BigAutoField(
                        auto_created=True, primary_key=True, serialize=False, verbose_name="ID"
                    ),
                ),
                ("key", models.CharField(max_length=36, unique=True)),
                ("n_bytes", models.BigIntegerField()),
                ("sha256", models.CharField(max_length=64)),
                ("name", models.CharField(blank=True, default="", max_length=80)),
                ("complete_at", models.DateTimeField(null=True)),
                ("refused", models.TextField(blank=True, default="")),
                (
                    "fact",
                    models.OneToOneField(
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="photo",
                        to="field.fact",
                    ),
                ),
            ],
        ),
        migrations.CreateModel(
            name="DeviceMachine",
            fields=[
                (
                    "id",
                    models.BigAutoField(
                        auto_created=True, primary_key=True, serialize=False, verbose_name="ID"
                    ),
                ),
                ("from_at", models.DateTimeField()),
                (
                    "device",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.CASCADE,
                        related_name="machines",
                        to="field.device",
                    ),
                ),
                (
                    "machine",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="+",
                        to="store.machine",
                    ),
                ),
            ],
            options={
                "constraints": [
                    models.UniqueConstraint(
                        fields=("device", "machine"), name="one_row_device_machine"
                    )
                ],
            },
        ),
        migrations.AddIndex(
            model_name="fact",
            index=models.Index(fields=["machine_key", "day"], name="fact_machine_day"),
        ),
    ]
