"""The room that draws: cards, plans and maps for paper and screen."""

from __future__ import annotations

from crossfall.report.cards import card_data, cards_pdf
from crossfall.report.day_sheets import day_sheets_pdf, sheet_data
from crossfall.report.gradation import gradation_svg
from crossfall.report.moisture_chart import moisture_chart
from crossfall.report.plan_map import plan_map
from crossfall.report.week import week_picture
from crossfall.report.zones import zones_svg

__all__ = [
    "card_data",
    "cards_pdf",
    "day_sheets_pdf",
    "gradation_svg",
    "moisture_chart",
    "plan_map",
    "sheet_data",
    "week_picture",
    "zones_svg",
]
