"""Figures that were read in print, each held against what the settings and formulas use.

The source stands beside each. What was only remembered is marked *recalled* in the settings, and
these tests see to it that it stays so.
"""

from __future__ import annotations

import pytest

from crossfall.design.calculator import Edge, ditch, edge_cost
from crossfall.design.zone import duration_of
from crossfall.formulas.compaction import roller_rate
from crossfall.formulas.drainage import manning_velocity, rational_flow
from crossfall.formulas.grader import area_rate, short_run_factor
from crossfall.formulas.gravel import compacted_volume, mass, n_lifts
from crossfall.formulas.work_zone import taper_length, taper_spacing
from crossfall.model import Policy
from crossfall.model.policy.setting import settings_of
from crossfall.model.policy.specifications import default_specifications
from crossfall.units import convert, factor

FT, MILE = 0.3048, 1609.344
DESIGN = Policy().design


ROWS = {row.path: row for row in settings_of(DESIGN)}


def setting_of(group, name):
    return ROWS[f"{group}.{name}"]


class TestGrader:
    def test_short_runs(self):
        """Published (civilatwork.blogspot.com, 2016): 0.4, 0.6, 0.8, 1.0 at 50, 100, 200, 500 m."""
        at = [short_run_factor(each) for each in (50.0, 100.0, 200.0, 500.0, 900.0)]
        assert at == [0.4, 0.6, 0.8, 1.0, 1.0]

    def test_area_in_an_hour(self):
        """Published formula (manufacturer's handbook, ed. 47, p. 856), 5280 for mph and ft."""
        metric = area_rate(5 * MILE / 1000, 10 * FT, 1 * FT, 0.75)
        assert metric / FT**2 == pytest.approx(5 * 9 * 5280 * 0.75)

    def test_a_fifty_minute_hour(self):
        """Published (same page): 0.83."""
        assert DESIGN.grader.efficiency == 0.83
        assert pytest.approx(50 / 60, abs=0.005) == 0.83

    def test_moldboard_angles_lie_in_the_printed_ranges(self):
        """Published (US Army correspondence text): 10 to 30° free-flowing, 30 to 50° otherwise."""
        angles = [r.moldboard_deg for r in DESIGN.grader.pass_rules if "teeth" not in r.note]
        assert all(10 <= each <= 50 for each in angles)
        mixing = [r.moldboard_deg for r in DESIGN.grader.pass_rules if "mix" in r.name]
        assert mixing
        assert all(30 <= each <= 50 for each in mixing)

    def test_speeds_lie_in_the_printed_ranges(self):
        """Published (handbook, p. 856): maintenance 5 to 16, ditches 0 to 5, scarifying 0 to 5."""
        for rule in DESIGN.grader.pass_rules:
            is_ditch = rule.treatment.value == "ditch_cleaning"
            is_ripping = "scarify" in rule.name
            low, high = (0, 5) if is_ditch or is_ripping else (5, 16)
            assert low <= rule.speed_km_h <= high, rule


class TestGravel:
    def test_the_factor_of_the_roller_formula(self):
        """Published (roller problem): 16.3 is 5280 / 27 / 12."""
        assert pytest.approx(16.3, abs=0.005) == 5280 / 27 / 12
        per_hour = roller_rate(FT, MILE / 1000, 25.4, 1, 1.0) / factor("yd3", "m3")
        assert per_hour == pytest.approx(5280 / 27 / 12, rel=1e-9)

    def test_lifts_of_at_most_150_mm(self):
        """Published (draft gravel road guideline)."""
        assert DESIGN.gravel.lift_limit_mm == 150.0
        assert [n_lifts(depth, 150.0) for depth in (150.0, 151.0, 300.0)] == [1, 2, 2]

    def test_drum_overlap_and_allowance(self):
        """Published: 150 mm (handbook, p. 957); a tenth for evaporation (US Army engineer text)."""
        assert DESIGN.rolling.overlap_m == 0.150
        assert DESIGN.water.allowance == 0.10

    def test_sand_swells_and_packs_within_the_range(self):
        """Published (earthmoving table 10-1): 1.11 loose and 0.95 compacted of 1.00 in place."""
        assert pytest.approx(1.168, abs=5e-4) == 1.11 / 0.95
        told = setting_of("gravel", "bulking")
        assert told.low <= 1.11 / 0.95 <= told.high
        # Published (a gravel supplier): 1.25 for crushed gravel
        assert DESIGN.gravel.bulking == 1.25

    def test_a_cubic_yard_of_crushed_gravel(self):
        """Published (same supplier): 1.5 short tons a loose cubic yard."""
        t_m3 = 1.5 * factor("short_ton", "t") / factor("yd3", "m3")
        told = setting_of("gravel", "loose_t_m3")
        assert told.low <= t_m3 <= told.high

    def test_an_inch_a_year_on_24_feet(self):
        """Arithmetic: 391 yd³ a mile, about 550 short tons; a supplier's page says about 500."""
        volume = compacted_volume(MILE, 24 * FT, 25.4)
        assert volume / factor("yd3", "m3") == pytest.approx(391.1, abs=0.05)
        loose_tons = 391.1 * 1.5
        packed_tons = mass(volume, DESIGN.gravel.dry_t_m3) / factor("short_ton", "t")
        assert 500 < packed_tons < 700
        assert loose_tons == pytest.approx(587, abs=1)


class TestShape:
    def test_crowns_in_inches_a_foot(self):
        """Arithmetic: half an inch a foot is 4.17 %, a quarter 2.08 %."""
        assert pytest.approx(4.17, abs=5e-3) == 100 * 0.5 / 12
        assert pytest.approx(2.08, abs=5e-3) == 100 * 0.25 / 12
        # Published (Ethiopian Roads Authority, 2002): 4 %
        assert DESIGN.shape.crossfall_pct == 4.0

    def test_three_feet_a_second_cleans_and_asks_for_a_look(self):
        """Published (US Army engineer EN5465, p. 81)."""
        usual = {"left_z": 3, "right_z": 3, "depth_m": 1.0, "roughness_n": 0.0245, "runoff_c": 0.5,
                 "intensity_mm_h": 60, "area_ha": 5, "over_h": 0.5}  # fmt: skip
        slow, fast = (ditch(slope=s, **usual) for s in (0.001, 0.02))
        assert slow.velocity_m_s < 3 * FT < fast.velocity_m_s + 0.02
        assert "silt up" in slow.verdict
        assert "erosion" in fast.verdict

    def test_manning_in_feet_has_its_constant(self):
        """Published: 1.49 in feet, 1 in metres."""
        metres = manning_velocity(1.0 * FT, 0.01, 0.03)
        feet = 1.49 / 0.03 * 1.0 ** (2 / 3) * 0.01**0.5
        assert metres / FT == pytest.approx(feet, rel=0.005)

    def test_rational_constants(self):
        """Published: 1.008 in acre-inches an hour, 1/360 in millimetres and hectares."""
        per_acre_inch = rational_flow(1.0, 25.4, factor("acre", "ha"), over_h=0.5) / FT**3
        assert per_acre_inch == pytest.approx(1.008, abs=5e-4)
        assert rational_flow(1.0, 360.0, 1.0, over_h=0.5) == pytest.approx(1.0)


class TestSpecifications:
    def bands(self, name):
        found = next(each for each in default_specifications() if each.name == name)
        return found, {b.sieve_mm: (b.low_pct, b.high_pct) for b in found.bands}

    def test_iowa_11(self):
        """Published (Iowa DOT IM 209, gradation 11)."""
        spec, bands = self.bands("Iowa 11")
        assert spec.is_verified
        assert bands == {
            25.0: (100, 100), 19.0: (95, 100), 12.5: (70, 90), 4.75: (30, 55), 2.36: (15, 40),
            0.075: (6, 16),
        }  # fmt: skip

    def test_iowa_10(self):
        """Published (Iowa DOT IM 209, gradation 10)."""
        spec, bands = self.bands("Iowa 10")
        assert spec.is_verified
        assert bands == {19.0: (100, 100), 4.75: (50, 80), 2.36: (25, 60)}

    def test_a_chloride_producers_guide(self):
        """Published (producer's guide, acceptable range): #4 55 to 70, #200 8 to 15, PI 2 to 9."""
        spec, bands = self.bands("Chloride surface, plastic")
        assert bands[4.75] == (55, 70)
        assert bands[0.075] == (8, 15)
        assert (spec.plasticity_low, spec.plasticity_high) == (2.0, 9.0)

    def test_what_was_only_remembered_is_not_called_verified(self):
        for name in ("Surface rule M 147", "Example state surface gravel"):
            spec, _ = self.bands(name)
            assert not spec.is_verified
            assert "remembered" in spec.source

    def test_limits_of_the_field_chart_are_recalled(self):
        for name in ("coefficient_low", "coefficient_high", "shrinkage_low", "shrinkage_high",
                     "shrinkage_high_near_homes", "oversize_high_pct"):  # fmt: skip
            assert setting_of("material", name).evidence == "recalled"


class TestDustAndEdges:
    def test_a_county_trial_of_magnesium_chloride(self):
        """Published (OPERA 2008-02): 0.30 gal/yd²; no rain for 36 h (supplier's page)."""
        assert convert(0.30, "gal_us/yd2", "L/m2") == pytest.approx(1.36, abs=5e-3)
        assert DESIGN.dust.rate_l_m2 == 1.36
        assert DESIGN.dust.dry_hours == 36.0

    def test_no_edge_saves_a_blading_until_it_is_measured(self):
        """A university's 20 to 1 (2019) and a state's figures are claims, and are not used."""
        assert DESIGN.edge.bladings_ratio == 1.0
        assert all(
            setting_of("edge", name).evidence == "recalled"
            for name in ("carbon_life_h", "hardened_life_h", "carbide_life_h", "bits_life_h")
        )
        made = edge_cost([Edge("a", 300, 60), Edge("b", 300, 60)], speed_km_h=8, efficiency=1)
        assert made.rows[0].cost_per_km == made.rows[1].cost_per_km


class TestWorkZone:
    zone = DESIGN.zone

    @pytest.mark.parametrize(
        ("road", "feet"),
        [("urban, low speed", (100, 100, 100)), ("urban, high speed", (350, 350, 350)),
         ("rural", (500, 500, 500)), ("freeway", (1000, 1500, 2640))],
    )  # fmt: skip
    def test_sign_spacing(self, road, feet):
        """Published (MUTCD sign spacing, a California county's plan set, p. 8)."""
        found = next(each for each in self.zone.sign_spacings if each.road == road)
        assert [each / FT for each in (found.a_m, found.b_m, found.c_m)] == pytest.approx(feet)

    def test_one_lane_taper(self):
        """Published (copies of MUTCD 6C): 50 to 100 ft, devices about 20 ft apart."""
        zone = self.zone
        lengths = (zone.one_lane_taper_low_m, zone.one_lane_taper_high_m, zone.one_lane_spacing_m)
        assert [each / FT for each in lengths] == pytest.approx([50, 100, 20])

    @pytest.mark.parametrize("mph", [25, 35, 45, 55])
    def test_devices_stand_as_many_feet_apart_as_mph(self, mph):
        """Published (same)."""
        assert taper_spacing(mph * MILE / 1000) / FT == pytest.approx(mph)

    def test_shifting_and_shoulder_tapers(self):
        """Published (California MUTCD 2012, plan set p. 10): a half and a third."""
        whole = taper_length(12 * FT, 45 * MILE / 1000)
        assert taper_length(12 * FT, 45 * MILE / 1000, "shifting") == pytest.approx(whole / 2)
        assert taper_length(12 * FT, 45 * MILE / 1000, "shoulder") == pytest.approx(whole / 3)

    @pytest.mark.parametrize(
        ("minutes", "words"),
        [(15, "mobile"), (16, "short duration"), (60, "short duration"), (61, "short term"),
         (720, "short term"), (721, "long term")],
    )  # fmt: skip
    def test_durations(self, minutes, words):
        """Published (Minnesota DOT state aid field manual): 15 min, 1 h, 12 h."""
        assert duration_of(minutes, self.zone) == words

    def test_lane_and_berm(self):
        """Published: 10 ft of lane (plan set p. 4); a berm of 12 in closes (FHWA 2015, errata)."""
        assert self.zone.lane_least_m / FT == pytest.approx(10)
        assert self.zone.berm_close_mm / 25.4 == pytest.approx(12)

    def test_digging_by_hand(self):
        """Published (call-before-you-dig pages): 24 in from the marks, 2 to 3 working days."""
        assert DESIGN.permission.hand_dig_m / FT == pytest.approx(2)
        assert DESIGN.permission.notice_days in (2, 3)


def test_every_published_setting_says_where():
    """A figure that is called published names its document."""
    published = [row for row in ROWS.values() if row.evidence == "published"]
    assert len(published) > 15
    assert [row.path for row in published if not row.source] == []
