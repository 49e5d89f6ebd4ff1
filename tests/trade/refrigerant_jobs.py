"""Jobs on the refrigerant side as a technician types them: what is found on a plain one, and on some that are not."""

from __future__ import annotations

Given = dict[str, str | list[str]]

HOUSE: Given = {
    "indoor.location": "closet",
    "site.suspect_material": "no",
    "site.altitude": "0 ft",
    "system.refrigerant": "R-410A",
}
OLD: Given = HOUSE | {
    "old.refrigerant": "R-22",
    "old.outdoor_kept": "no",
    "old.runs": "yes",
    "old.leaks": "no",
    "old.brazed": "yes",
    "old.standing_pressure": "150 psi",
    "outdoor.temperature": "85 °F",
    "old.indoor_temperature": "75 °F",
    "cylinder.water_capacity": "47.6 lb",
    "cylinder.tare": "26.5 lb",
    "cylinder.gross_before": "30 lb",
    "cylinder.gross": "36 lb",
    "recovery.settled_pressure": "-2 psi",
    "recovery.cylinder": "12",
    "recovery.person": "A. Person",
    "recovery.destination": "Reclaimer",
    "unbraze.line_pressure": "0 psi",
    "unbraze.line_open": "yes",
    "unbraze.air_clear": "yes",
    "unbraze.nitrogen_flows": "yes",
    "unbraze.fire_watch": "yes",
}
KEPT: Given = OLD | {"old.outdoor_kept": "yes", "pumpdown.final_pressure": "3 psi"}
ATTIC: Given = {"indoor.location": "attic", "attic.temperature": "112 °F"}
CRAWL: Given = {"indoor.location": "crawlspace"}
REUSE: Given = HOUSE | {
    "old.refrigerant": "R-410A",
    "reuse.burnout": "none",
    "reuse.damaged": "no",
    "reuse.hidden_joint": "no",
    "reuse.open_to_air": "yes",
    "reuse.came_clean": "yes",
    "line.is_old": "yes",
}
PLACED: Given = HOUSE | {
    "delivery.as_ordered": "yes",
    "delivery.damage": "no",
    "outdoor.weight": "190 lb",
    "indoor.weight": "110 lb",
    "lift.persons": "4",
    "outdoor.support": "pad",
    "room.route": "ducted",
    "overflow.can_damage": "yes",
}
LINES: Given = HOUSE | {
    "joints.flared": "yes",
    "joints.brazed": "yes",
    "outdoor.support": "pad",
    "braze.line_pressure": "0 psi",
    "braze.line_open": "yes",
    "braze.air_clear": "yes",
    "braze.nitrogen_flows": "yes",
    "braze.fire_watch": "yes",
}
TEST: Given = HOUSE | {
    "nameplate.design_pressure": "600 psi",
    "test.valves_closed": "yes",
    "test.gas": "dry-nitrogen",
    "test.regulator_set": "500 psi",
    "test.relief_set": "550 psi",
    "test.start_pressure": "500 psi",
    "test.start_temperature": "80 °F",
    "test.end_pressure": "500 psi",
    "test.end_temperature": "80 °F",
    "test.hold": "60 min",
    "test.bubbles": "no",
}
LEVELS = "0 min: 420 micron, 4 min: 620 micron, 6.5 min: 700 micron, 8 min: 708 micron, 10 min: 712 micron"
MOIST = "0 min: 400 micron, 3 min: 1300 micron, 6.5 min: 1500 micron, 8 min: 1505 micron, 10 min: 1510 micron"
LEAKS = "0 min: 420 micron, 5 min: 620 micron, 8 min: 740 micron, 10 min: 820 micron"
EMPTIED: Given = HOUSE | {
    "test.held_earlier": "yes",
    "vacuum.valves_closed": "yes",
    "vacuum.pipe_temperature": "70 °F",
    "vacuum.readings": LEVELS,
    "line.length": "40 ft",
    "line.precharged_length": "25 ft",
    "line.charge_rate": "0.5 oz/ft",
    "charge.factory": "6 lb",
    "charge.weighed_in": "7.5 oz",
    "valves.open": "yes",
    "charge.at_rest": "200 psi",
    "charge.coldest_place": "70 °F",
    "release.leak_found": "no",
}
TURNED: Given = HOUSE | {
    "position.shipped": "upflow",
    "position.wanted": "upflow",
    "position.side_pan": "left",
    "position.shown_by_maker": "yes",
    "backup.kit_power": "0 kW",
    "position.water_to_port": "yes",
}
DOWNFLOW: Given = TURNED | {
    "position.wanted": "downflow",
    "backup.kit_power": "10 kW",
    "position.float_in_pan": "yes",
    "position.base_right": "yes",
    "position.breaker_up_is_on": "yes",
}
WATER: Given = HOUSE | {
    "room.route": "ducted",
    "drain.by_gravity": "yes",
    "overflow.can_damage": "yes",
    "overflow.device": "secondary-port-float",
    "drain.supported": "yes",
    "drain.cleanable": "yes",
    "drain.ends_right": "yes",
    "drain.water_runs": "yes",
}
WORK: dict[str, Given] = {
    "pump-down-or-remove": OLD,
    "reuse-line-set": REUSE,
    "receive-and-place": PLACED,
    "line-set": LINES,
    "pressure-test": TEST,
    "evacuate-and-release": EMPTIED,
    "convert-position": TURNED,
    "drain": WATER,
}
"""Of each list a plain job on which nothing is wrong."""
ELSEWHERE: dict[str, set[str]] = {
    "pump-down-or-remove": {"system.refrigerant"},
    "drain": {
        "air.flow",
        "air.entering_dry_bulb",
        "air.entering_wet_bulb",
        "air.entering_relative_humidity",
        "air.leaving_dry_bulb",
        "air.leaving_wet_bulb",
        "air.leaving_relative_humidity",
        "site.altitude",
    },
    "evacuate-and-release": {
        "test.bubbles",
        "test.end_pressure",
        "test.end_temperature",
        "test.hold",
        "test.start_pressure",
        "test.start_temperature",
    },
}
"""What another list reads: the pressure test, the air; or what counts only where the old refrigerant is not known."""
OTHER_JOBS: list[tuple[str, Given]] = [
    ("pump-down-or-remove", KEPT | ATTIC),
    ("pump-down-or-remove", OLD | CRAWL | {"old.refrigerant": "R-32", "old.leaks": "yes"}),
    ("reuse-line-set", REUSE | {"reuse.burnout": "mild"}),
    ("receive-and-place", PLACED | ATTIC | {"system.refrigerant": "R-454B", "delivery.damage": "yes"}),
    ("receive-and-place", PLACED | CRAWL),
    ("line-set", LINES | ATTIC | {"line.labeled": ["yes", "yes"]}),
    ("line-set", LINES | CRAWL),
    ("pressure-test", TEST | {"test.end_pressure": "460 psi"}),
    ("evacuate-and-release", EMPTIED | {"system.refrigerant": "R-32"}),
    ("evacuate-and-release", EMPTIED | {"vacuum.readings": MOIST, "line.is_old": "yes"}),
    ("evacuate-and-release", EMPTIED | {"vacuum.readings": LEAKS}),
    ("convert-position", DOWNFLOW | {"system.refrigerant": "R-32"}),
    ("convert-position", TURNED | {"position.wanted": "horizontal-right"}),
    ("drain", WATER | ATTIC | {"overflow.device": "drained-pan"}),
    ("drain", WATER | CRAWL | {"drain.by_gravity": "no"}),
]  # fmt: skip
"""What else must be met, so that every step is."""
