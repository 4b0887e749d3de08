"""The page on moisture quotes what its own script computes, and nothing else."""

from __future__ import annotations

import importlib.util
import json
import re
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
    names = ("drydown", "members", "skill", "seasons", "winter", "new_york")
    for name in names if script.FOUR_YEARS.is_file() else names[:-1]:
        assert f"figures/moisture_{name}.svg" in page
        assert (script.HERE / f"moisture_{name}.svg").stat().st_size > 5000
        assert (_METHODS / "figures" / f"moisture_{name}.svg").is_file()


def test_the_page_quotes_the_numbers(numbers, page):
    seattle, york = numbers["seasons"], numbers["winter"]
    skill, week = numbers["skill"], numbers["one_line_or_many"]
    hours, dry, years = numbers["hours"], numbers["drydown"], numbers["four_years_of_new_york"]

    def of(pair):
        return f"{pair[0]} of {pair[1]}"

    def percent(share):
        return f"{share:.0%}".replace("%", " %")

    at = (2, 4, 6, 8)
    said = [
        f"{of(seattle['open']['day_after_10_mm'])} cases in Seattle and in"
        f" {of(years['day_after_10_mm'])} in New York's four years",
        f"{of(york['EWR']['day_after_10_mm_summer'])} at Newark",
        f"{of(york['LGA']['day_after_10_mm_summer'])} at La Guardia",
        f"only {of(york['JFK']['day_after_10_mm_summer'])} at JFK",
        "by the hour the same airports give "
        + ", ".join(of(hours[name]["day_after_10_mm_by_hour"]) for name in ("EWR", "LGA"))
        + f" and {of(hours['JFK']['day_after_10_mm_by_hour'])}",
        f"a median of {seattle['open']['days_until_below_band']['median']:g} days in Seattle"
        f" ({seattle['open']['days_until_below_band']['n']} cases) and"
        f" {years['days_until_below_band']['median']:g} in New York"
        f" ({years['days_until_below_band']['n']})",
        percent(seattle["dark"]["january_too_wet"]),
        f"frozen on {percent(years['january_frozen'])} of January",
        f"weaken the road for {years['thaw_weak_days']['2014']} days in three spells",
        f"2015 has {years['thaw_weak_days']['2015']} days",
        f"{skill['n_forecasts']} forecasts",
        ", ".join(f"{each:.2f}" for each in skill["brier_skill_by_lead"][:4]),
        f"{skill['reliability'][-1][0]:.2f} stated, {skill['reliability'][-1][1]:.2f} observed",
        f"a chance of {max(week['p_workable']):.2f} on the fifth",
        f"9.0 mm gives {week['members_mean_mm'][2]:.1f} mm",
        f"{hours['EWR']['mean_difference_pct']:.1f} % at Newark",
        f"{hours['JFK']['mean_difference_pct']:.1f} % wetter on average at JFK",
        f"at most {max(each['largest_difference_pct'] for each in hours.values()):.1f} %",
        "same class on {:.0f}, {:.0f} and {:.0f} %".format(
            *(100 * hours[name]["same_class_share"] for name in ("JFK", "LGA", "EWR"))
        ),
        f"make {percent(york['JFK']['shares']['unknown'])}",
        ", ".join(f"{dry[f'days_to_leave_band_at_{et0}']:.2f}" for et0 in at[:3]),
        ", ".join(f"{dry[f'days_to_dry_at_{et0}']:.2f}" for et0 in at[:3]),
        ", ".join(f"{dry[f'days_to_dry_in_forest_at_{et0}']:.2f}" for et0 in at[:3]),
    ]
    for words in said:
        assert words in page, words
    more = [each["runoff_mm_by_hour"] - each["runoff_mm_by_day"] for each in hours.values()]
    assert f"{min(more):.0f} to {max(more):.0f} mm more" in page
    assert "workable" not in week["one_line"]
    assert week["p_workable"].index(max(week["p_workable"])) == 4
    assert years["thaw_weak_from"][:3] == ["2014-02-03", "2014-02-20", "2014-03-08"]


# Frozen, too wet, workable, drying and dry days of the year, January frozen, too wet and workable,
# July dry, runoff over rain: what an earlier sketch of the method gave on the same weather
_SKETCH = {
    "open": ((0.01, 0.28, 0.31, 0.06, 0.34), None, 0.39, 0.60, 0.94, 0.40),
    "dark": (None, None, 0.76, None, None, None),
    "york": ((0.12, 0.16, 0.23, 0.15, 0.34), 0.56, None, None, 0.67, 0.44),
}


@pytest.mark.parametrize("place", list(_SKETCH))
def test_the_earlier_sketch_is_run_again(numbers, place):
    """The sketch's figures to the percent it gave them in, where its rules are taken."""
    seattle, years = numbers["seasons"], numbers["four_years_of_new_york"]
    found = (years if place == "york" else seattle[place])["as_sketched"]
    shares, *rest = _SKETCH[place]
    if shares:
        labels = ("frozen", "too wet", "workable", "drying", "dry")
        assert [found["all_year"][each] for each in labels] == pytest.approx(shares, abs=0.0055)
    names = ("january_frozen", "january_too_wet", "january_workable", "july_dry", "runoff_share")
    for name, expected in zip(names, rest, strict=True):
        if expected is not None:
            assert found[name] == pytest.approx(expected, abs=0.0055), name
    # Rain and reference evapotranspiration of a year, the day after rain, days to below the band
    if place == "open":
        assert seattle["rain_mm_a_year"] == pytest.approx(1106, abs=1)
        assert seattle["et0_mm_a_year"] == pytest.approx(802, abs=2)
        assert seattle["open"]["day_after_10_mm"] == [6, 7]
        assert seattle["open"]["days_until_below_band"] == {"median": 2.5, "n": 4}
        line = ["dry", "dry", "too wet", "too wet", "drying", "drying", "dry"]
        assert numbers["one_line_or_many"]["one_line"] == line
    if place == "york":
        assert years["rain_mm_a_year"] == pytest.approx(1044, abs=1)
        assert years["et0_mm_a_year"] == pytest.approx(922, abs=2)
        assert years["day_after_10_mm"] == [16, 23]
        assert years["days_until_below_band"]["median"] == 2.0
        weak = years["thaw_weak_days"].values()
        assert (min(weak), max(weak)) == (0, 20)
        jfk = numbers["winter"]["JFK"]
        assert jfk["rain_mm_of_all_hours"] == pytest.approx(881, abs=1)
        # Two winter days lack temperatures, some 2 mm; the sketch took the coastal factor
        assert jfk["et0_mm_coastal"] == pytest.approx(1134, abs=5)


def test_every_test_that_the_audit_names_is_there():
    """Each row of the page names tests that exist, and none twice in vain."""
    text = (_METHODS / "moisture_checks.md").read_text()
    named = set(re.findall(r"`(test_\w+)`", text))
    written = "\n".join(
        each.read_text() for each in Path(__file__).resolve().parents[1].rglob("test_*.py")
    )
    defined = set(re.findall(r"^def (test_\w+)\(", written, flags=re.MULTILINE))
    assert len(named) > 30
    assert named <= defined, sorted(named - defined)
    rows = [each for each in text.splitlines() if each.startswith("| ")][1:]
    assert all("`test_" in each for each in rows)
