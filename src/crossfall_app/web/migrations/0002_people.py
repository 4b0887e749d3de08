"""Members with roles, links for passwords, and open sessions."""

# mypy: disallow-subclassing-any=False

from __future__ import annotations

import django.db.models.deletion
from django.conf import settings
from django.db import migrations, models


class Migration(migrations.Migration):
    dependencies = [  # noqa: RUF012
        ("auth", "0012_alter_user_first_name_max_length"),
        ("web", "0001_sign_in"),
        migrations.swappable_dependency(settings.AUTH_USER_MODEL),
    ]

    operations = [  # noqa: RUF012
        migrations.CreateModel(
            name="Member",
            fields=[
                (
                    "user",
                    models.OneToOneField(
                        on_delete=django.db.models.deletion.CASCADE,
                        primary_key=True,
                        related_name="member",
                        serialize=False,
                        to=settings.AUTH_USER_MODEL,
                    ),
                ),
                ("name", models.CharField(blank=True, max_length=120)),
                ("role", models.CharField(max_length=40)),
            ],
        ),
        migrations.AddField(
            model_name="signinlink",
            name="purpose",
            field=models.CharField(default="enter", max_length=40),
        ),
        migrations.CreateModel(
            name="SignIn",
            fields=[
                (
                    "id",
                    models.BigAutoField(
                        auto_created=True, primary_key=True, serialize=False, verbose_name="ID"
                    ),
                ),
                ("session_key", models.CharField(max_length=40, unique=True)),
                ("at", models.DateTimeField()),
                ("seen_at", models.DateTimeField()),
                ("browser", models.CharField(blank=True, max_length=120)),
                ("address", models.CharField(blank=True, max_length=64)),
                (
                    "user",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.CASCADE,
                        related_name="+",
                        to=settings.AUTH_USER_MODEL,
                    ),
                ),
            ],
        ),
    ]
