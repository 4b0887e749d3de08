"""Template words: addresses of built files."""

from __future__ import annotations

from django import template

from crossfall_app.web.built import built_url

register = template.Library()
register.simple_tag(built_url, name="built")
