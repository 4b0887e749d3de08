"""When a phone's clock was changed, and where wrong codes came from."""

# ruff: noqa: RUF012
# mypy: disallow-subclassing-any=False

from django.db import migrations, models


class Migration(migrations.Migration):
    dependencies = [
        ("field", "0001_facts_from_the_cab"),
    ]

    operations = [
        migrations.AddField(
            model_name="device",
            name="skew_before_s",
            field=models.FloatField(null=True),
        ),
        migrations.AddField(
            model_name="device",
            name="skew_since",
            field=models.DateTimeField(null=True),
        ),
        migrations.AddField(
            model_name="pairingtry",
            name="address",
            field=models.CharField(blank=True, default="", max_length=60),
        ),
    ]
