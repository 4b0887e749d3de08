"""Machines' tracks in: GPX, NMEA, CSV with a mapping profile, GeoJSON; and fleet snapshots.

Every reader gives fixes in pieces, so that a file of any size passes through bounded memory.
Nothing is stored here, and nobody's track is read unless somebody names the file.
"""

from __future__ import annotations

from crossfall.io.tracks.profile import TrackProfile, read_profile
from crossfall.io.tracks.run import TrackMatch, match_file
from crossfall.io.tracks.snapshots import MachineHours, SnapshotFile, hours_between, read_snapshots
from crossfall.io.tracks.stream import READERS, TrackStream, open_track

__all__ = [
    "READERS",
    "MachineHours",
    "SnapshotFile",
    "TrackMatch",
    "TrackProfile",
    "TrackStream",
    "hours_between",
    "match_file",
    "open_track",
    "read_profile",
    "read_snapshots",
]
