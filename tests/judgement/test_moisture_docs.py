"""The page on moisture quotes what its own script computes, and nothing else."""

from __future__ import annotations

import importlib.util
import json
import sys
from pathlib import Path

import pytest

_METHODS = Path(__file__).resolve().parents[2] / "docs" / "methods"


@pytest.fixture(scope="module")
def script(tmp_path_factory):
    pytest.importorskip("matplotlib")
    spec = importlib.util.spec_from_file_location(
        "moisture_figures", _METHODS / "figures" / "moisture.py"
    )
    module = importlib.util.module_from_spec(spec)
    sys.modules[spec.name] = module  # dataclasses look their module up
    spec.loader.exec_module(module)
    module.HERE = tmp_path_factory.mktemp("figures")
    module.main()
    yield module
    del sys.modules[spec.name]


@pytest.fixture(scope="module")
def numbers():
    return json.loads((_METHODS / "figures" / "moisture.json").read_text())


@pytest.fixture(scope="module")
def page():
    return " ".join((_METHODS / "moisture.md").read_text().split())


def _flat(value, path=""):
    if isinstance(value, dict):
        for key, inner in value.items():
            yield from _flat(inner, f"{path}.{key}")
    elif isinstance(value, list):
        for i, inner in enumerate(value):
            yield from _flat(inner, f"{path}[{i}]")
    else:
        yield path, value


def test_the_stored_numbers_are_what_the_script_gives(script, numbers):
    made = dict(_flat(json.loads((script.HERE / "moisture.json").read_text())))
    kept = dict(_flat(numbers))
    assert made.keys() == kept.keys()
    for path, value in kept.items():
        if isinstance(value, float):
            assert made[path] == pytest.approx(value, abs=0.011), path
        else:
            assert made[path] == value, path


def test_every_figure_of_the_page_is_made(script, page):
    for name in ("drydown", "members", "skill", "seasons", "winter"):
        assert f"figures/moisture_{name}.svg" in page
        assert (script.HERE / f"moisture_{name}.svg").stat().st_size > 5000
        assert (_METHODS / "figures" / f"moisture_{name}.svg").is_file()


def test_the_page_quotes_the_numbers(numbers, page):
    seattle, york = numbers["seasons"], numbers["winter"]
    skill, week = numbers["skill"], numbers["one_line_or_many"]
    hours = numbers["hours"]

    def of(pair):
        return f"{pair[0]} of {pair[1]}"

    said = [
        f"{of(seattle['open']['day_after_10_mm'])} summer cases in Seattle",
        f"{of(york['EWR']['day_after_10_mm_summer'])} at Newark",
        f"{of(york['LGA']['day_after_10_mm_summer'])} at La Guardia",
        f"only {of(york['JFK']['day_after_10_mm_summer'])} at JFK",
        f"{seattle['dark']['january_too_wet']:.0%}".replace("%", " %"),
        f"{skill['n_forecasts']} forecasts",
        ", ".join(f"{each:.2f}" for each in skill["brier_skill_by_lead"][:4]),
        f"{skill['reliability'][-1][0]:.2f} stated, {skill['reliability'][-1][1]:.2f} observed",
        f"a chance of {max(week['p_workable']):.2f} on the fifth",
        f"9.0 mm gives {week['members_mean_mm'][2]:.1f} mm",
        f"starts its days {hours['mean_difference_pct']:.1f} % wetter",
        f"same class on {hours['same_class_share']:.0%}".replace("%", " %"),
        f"make {york['JFK']['shares']['unknown']:.0%}".replace("%", " %"),
    ]
    for words in said:
        assert words in page, words
    assert "workable" not in week["one_line"]
    assert week["p_workable"].index(max(week["p_workable"])) == 4
