"""A second opinion beyond its model says so."""

from dataclasses import replace
from datetime import date

from crossfall.judgement.thickness import check_layers
from small_district import small_district


def test_axles_beyond_the_model_are_said() -> None:
    district = small_district()
    roads = district.network.segments
    for trucks, is_beyond in ((20.0, False), (400.0, True)):
        # 40 soft days of 1.5 axles a truck: 1,200 and 24,000 of the model's 10,000
        busy = tuple(replace(each, adt=2 * trucks, heavy_share=0.5) for each in roads)
        district = replace(district, network=replace(district.network, segments=busy))
        checks = check_layers(district, today=date(2026, 5, 4))
        told = [any("24,000 axles are beyond" in each for each in c.assumed) for c in checks]
        assert told
        assert all(each == is_beyond for each in told)
