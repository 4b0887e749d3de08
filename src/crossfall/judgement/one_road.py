"""A district cut down to one road, for pages and questions that are about that road alone."""

from __future__ import annotations

from dataclasses import replace

from crossfall.model import District, Network


def only_road(district: District, segment_id: str) -> District:
    """The same district with one segment and what concerns it; weather, policy and hauls stay.

    What is judged of a road depends on nothing of its neighbours but their weather stations, so the
    answer is the same and comes at once in a network of any size.

    Raises
    ------
    KeyError
        If the segment is unknown.
    """
    segment = district.network.segment_by_id[segment_id]
    ends = {segment.from_node, segment.to_node}
    network = Network(tuple(node for node in district.network.nodes if node.id in ends), (segment,))
    return replace(
        district,
        network=network,
        conditions=tuple(each for each in district.conditions if each.segment_id == segment_id),
        records=tuple(each for each in district.records if each.segment_id == segment_id),
        requests=tuple(each for each in district.requests if each.segment_id == segment_id),
        hazards=tuple(each for each in district.hazards if each.segment_id == segment_id),
        dust=tuple(each for each in district.dust if each.segment_id == segment_id),
    )
