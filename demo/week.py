"""The invented company's week: four technicians, and visits in every state, by days from today."""

from __future__ import annotations

from datetime import datetime, timedelta

from demo.client import ZONE, Office, Phone

CATALOGUE = "Example Works (invented)"
"""The maker whose pack the demo publishes; its models are those of `demo/packs/maker`."""


def write_week(office: Office) -> None:
    rosa, abe, ines, tom = (
        office.enrol(name)
        for name in ("Rosa Quill", "Abe Marlow", "Ines Fairweather", "Tom Ashdown")
    )
    install(rosa)
    pear_tree = maintenance(tom)
    survey(ines)
    commissioning(abe)
    low_air(ines)
    filter_change(tom)
    shared_call(rosa, abe)
    office.sign_in()
    plans(office, ines, tom)
    plan_again(office, *pear_tree)


def install(phone: Phone) -> None:
    """Everything in order, signed and closed."""
    phone.clock = days_ago(4, 8)
    phone.add_site("14 Alder Lane", "Hollow Creek")
    phone.add_system("Attic, north side")
    circuit = phone.add_member("circuit", "Outdoor unit")
    indoor = phone.add_member("indoor", "Attic air handler")
    phone.open_visit("Install, single zone", "install", "handover")
    lengths = {"line.length": "60 ft", "line.lift": "12 ft"}
    models = {"outdoor.model": "OU-S24-B", "indoor.model": "AH-24-S"}
    phone.enter("pairing", models | lengths | {"site.nominal_voltage": "240 V"}, indoor)
    supply = {
        "conductor.size": "10 AWG",
        "supply.material": "copper",
        "supply.wiring_method": "raceway",
        "supply.insulation_rating": "90",
        "supply.termination_rating": "75",
        "supply.ambient": "125 degF",
        "supply.current_carrying": "2",
        "breaker.rating": "25 A",
        "load.current": "16.9 A",
    }
    phone.enter("ampacity-check", supply, circuit)
    run = {
        "supply.length": "85 ft",
        "supply.source_voltage": "241 V",
        "supply.raceway": "pvc",
    }
    phone.enter("voltage-drop", run, circuit)
    phone.note("Whip to the disconnect is 4 ft of liquidtight.")
    nitrogen(phone, "640 ft", ("500 psi", "62 degF"), ("508 psi", "71 degF"), "72 min")
    vacuum = "0 min: 160 micron, 2 min: 181 micron, 5 min: 201 micron, 10 min: 216 micron"
    vacuum += ", 15 min: 225 micron, 20 min: 229 micron, 25 min: 231 micron, 30 min: 232 micron"
    phone.enter("evacuation", {"vacuum.readings": vacuum, "vacuum.pipe_temperature": "68 degF"})
    slip = phone.enter("filter", {"air.flow": "120 cfm"}, indoor)
    phone.correct(slip, "air.flow", "800 cfm", "a wrong key")
    phone.enter("filter", filter_box("24 in", "24 in", "4 in", "1400 cfm", "0.22 in w.c."), indoor)
    phone.photo("Filter box in the attic, before the door went on")
    thermostat = {
        "control.kind": "maker-wired",
        "backup.stages": "0",
        "compressor.calls": "1",
        "dehumidify.call": "no",
    }
    phone.enter("thermostat-setup", thermostat, indoor)
    cold = {"outdoor.design_temperature": "12 degF", "load.zero_temperature": "62 degF"}
    phone.enter("balance-point", cold)
    day = phone.clock.date().isoformat()
    warranty = {"system.start_date": day, "warranty.register_within": "60 day"}
    phone.enter("warranty", warranty | {"warranty.registered": day})
    phone.enter("filter-life", filter_use(day), indoor)
    phone.work_through("handover")
    phone.sign(
        "J. Thornbury (invented)", "I was shown the filter, the breaker and the overflow switch."
    )
    phone.close()
    phone.sync()


def maintenance(phone: Phone) -> tuple[str, str]:
    """A visit with its checklist worked through, closed without a signature; the filter has loaded over two years.

    Returns site and system.
    """
    phone.clock = days_ago(735, 9)
    phone.add_site("Pear Tree House", "Orchard Road, Hollow Creek")
    phone.add_system("Closet, first floor")
    indoor = phone.add_member("indoor", "Closet air handler")
    phone.open_visit("Commissioning", "commissioning")
    phone.enter("first-readings", {"visit.first_readings": "yes"})
    phone.enter("static-pressure", statics("-0.06", "-0.16", "0.21", "0.6"), indoor)
    first = {"trend.flow_then": "1000 cfm", "trend.total_then": "0.37 in w.c."}
    first |= {"trend.filter_then": "0.1 in w.c.", "air.flow": "1000 cfm"}
    phone.enter("static-trend", first, indoor)
    phone.enter("filter-life", {"filter.clean_drop": "0.1 in w.c."}, indoor)
    phone.close()
    for days, after_filter, total, flow in (
        (552, "-0.18", "0.39", "990"),
        (371, "-0.23", "0.44", "975"),
    ):
        phone.clock = days_ago(days, 10)
        phone.open_visit("Maintenance", "maintenance")
        phone.enter("static-pressure", statics("-0.06", after_filter, "0.21", "0.6"), indoor)
        phone.enter("static-trend", trend(total, flow), indoor)
        phone.close()
    phone.clock = days_ago(4, 13)
    phone.open_visit("Maintenance", "maintenance", "maintenance-visit")
    phone.work_through("maintenance-visit")
    phone.enter("static-pressure", statics("-0.06", "-0.28", "0.21", "0.6"), indoor)
    phone.enter("static-trend", trend("0.49", "960"), indoor)
    running = {
        "run.mode": "heating",
        "running.vapor_line": "118 degF",
        "air.return_temperature": "69 degF",
        "air.supply_temperature": "97 degF",
        "site.altitude": "655 ft",
    }
    phone.enter("running-check", running, indoor)
    water = {
        "drain.by_gravity": "yes",
        "indoor.location": "closet",
        "overflow.device": "secondary-port-float",
        "overflow.can_damage": "yes",
    }
    phone.enter("drain-protection", water, indoor)
    phone.enter("filter-life", filter_use(days_ago(371, 10).date().isoformat()), indoor)
    phone.note("Pan was dry, trap primed. Float stops the unit at once.")
    phone.note("Filter changed after the readings.")
    phone.close()
    phone.sync()
    return phone.site, phone.system


def survey(phone: Phone) -> None:
    """The indoor unit that was ordered does not pair with the outdoor unit."""
    phone.clock = days_ago(3, 9)
    phone.add_site("8 Tannery Yard", "Hollow Creek")
    phone.add_system("Attic over the shop")
    indoor = phone.add_member("indoor", "Attic air handler")
    phone.open_visit("Survey before the exchange", "install")
    models = {"outdoor.model": "OU-S24-B", "indoor.model": "AH-24-M"}
    lengths = {"line.length": "70 ft", "line.lift": "16 ft"}
    phone.enter("pairing", models | lengths | {"site.nominal_voltage": "208 V"}, indoor)
    phone.note(f"The carton says AH-24-M. {CATALOGUE} lists AH-24-S; the supplier exchanges it.")
    phone.sync()


def commissioning(phone: Phone) -> None:
    """A leak and a filter that is too small; still in work."""
    phone.clock = days_ago(2, 13)
    phone.add_site("3 Quarry Road", "Hollow Creek")
    phone.add_system("Loft over the garage")
    phone.add_member("circuit", "Outdoor unit")
    indoor = phone.add_member("indoor", "Loft air handler")
    phone.open_visit("Commissioning", "commissioning", "pressure-test")
    phone.work_through("pressure-test", most=6)
    nitrogen(phone, "710 ft", ("500 psi", "88 degF"), ("471 psi", "93 degF"), "65 min")
    phone.note("Bubbles at the flare on the vapor side. Cutting it again tomorrow.")
    box = filter_box("16 in", "20 in", "1 in", "800 cfm", "0.25 in w.c.")
    phone.enter("filter", {"air.flow": "1150 cfm"} | box, indoor)
    phone.sync()


def low_air(phone: Phone) -> None:
    """A return that is too small, found by static pressure; signed, not closed yet."""
    phone.clock = days_ago(1, 8)
    phone.add_site("The Old Chapel", "Kiln Street, Hollow Creek")
    phone.add_system("Attic over the nave")
    indoor = phone.add_member("indoor", "Attic air handler")
    phone.open_visit("Noisy return, little air", "fault")
    phone.enter("static-pressure", statics("-0.38", "-0.57", "0.27", "0.5"), indoor)
    box = filter_box("14 in", "20 in", "1 in", "700 cfm", "0.28 in w.c.")
    phone.enter("filter", {"air.flow": "1000 cfm"} | box, indoor)
    phone.photo("The one return grille, 14 by 20")
    phone.note("Offered a second return of 16 by 20 from the vestry.")
    phone.sign("M. Sallow (invented)", "I was told that the return is too small and what it costs.")
    phone.sync()


def filter_change(phone: Phone) -> None:
    """A checklist worked to its end; finished, neither signed nor closed."""
    phone.clock = days_ago(1, 14)
    phone.add_site("41 Weir Lane", "Hollow Creek")
    phone.add_system("Crawlspace")
    indoor = phone.add_member("indoor", "Crawlspace air handler")
    phone.open_visit("Ducts and filter", "maintenance", "duct-and-filter")
    phone.work_through("duct-and-filter")
    box = filter_box("20 in", "25 in", "4 in", "1200 cfm", "0.18 in w.c.")
    phone.enter("filter", {"air.flow": "950 cfm"} | box, indoor)
    phone.sync()


def shared_call(rosa: Phone, abe: Phone) -> None:
    """Two phones on one visit read the run's length differently."""
    rosa.clock = days_ago(0, 7)
    rosa.add_site("Mill Cottage", "Weir Lane, Hollow Creek")
    rosa.add_system("Knee wall, west")
    circuit = rosa.add_member("circuit", "Outdoor unit")
    rosa.open_visit("Breaker trips on hot days", "fault", "fault-finding")
    wire = {
        "conductor.size": "12 AWG",
        "supply.material": "copper",
        "supply.length": "110 ft",
        "load.current": "19 A",
        "supply.source_voltage": "236 V",
        "supply.raceway": "none",
    }
    rosa.enter("voltage-drop", wire, circuit)
    rosa.sync()
    abe.join(rosa)
    abe.enter("voltage-drop", {"supply.length": "142 ft"}, circuit)
    abe.note("Measured along the crawlspace, not through the wall.")
    abe.sync()


def plans(office: Office, ines: Phone, tom: Phone) -> None:
    today = {
        "site_name": "27 Fern Rise",
        "site_address": "Hollow Creek",
        "system_label": "Attic over the hall",
        "title": "Commissioning after install",
        "kind": "commissioning",
    }
    lists = ("pressure-test", "evacuate-and-release", "start-up", "commissioning-readings")
    office.plan(0, None, today, *lists, "handover")
    tomorrow = {
        "site_name": "5 Limekiln Hill",
        "site_address": "Hollow Creek",
        "system_label": "Knee wall, east",
        "title": "Install, two zones",
        "kind": "install",
        "members_indoor": "Attic, north\nAttic, south",
    }
    office.plan(1, ines, tomorrow, "receive-and-place", "line-set", "power-wiring", "drain")
    later = {
        "site_name": "Fuller's Barn",
        "site_address": "Mill Road, Hollow Creek",
        "system_label": "Closet",
        "title": "Autumn maintenance",
        "kind": "maintenance",
    }
    office.plan(2, tom, later, "maintenance-visit")


def plan_again(office: Office, site: str, system: str) -> None:
    """For any phone, which is sent with it what was found there before."""
    again = {"site": site, "system": system, "title": "New filter, half a year on"}
    no_members = {"members_circuit": "", "members_indoor": ""}
    office.plan(180, None, again | no_members | {"kind": "maintenance"}, "maintenance-visit")


# --- readings that come more than once ---------------------------------------------------------


def nitrogen(
    phone: Phone, altitude: str, start: tuple[str, str], end: tuple[str, str], hold: str
) -> None:
    """A pressure test from (pressure, temperature) to (pressure, temperature), with its timer."""
    before = {
        "site.altitude": altitude,
        "nameplate.design_pressure": "550 psi",
        "test.start_pressure": start[0],
        "test.start_temperature": start[1],
        "test.hottest_temperature": "104 degF",
    }
    phone.enter("pressure-test", before)
    minutes = int(hold.split()[0])
    timer = phone.start_timer("pressure-test", 3600)
    phone.clock += timedelta(minutes=minutes)
    phone.stop_timer(timer, minutes * 60)
    after = {"test.end_pressure": end[0], "test.end_temperature": end[1], "test.hold": hold}
    phone.enter("pressure-test", after)


def filter_box(
    width: str, height: str, depth: str, rated_flow: str, rated_drop: str
) -> dict[str, str]:
    return {
        "filter.width": width,
        "filter.height": height,
        "filter.depth": depth,
        "filter.count": "1",
        "filter.rated_flow": rated_flow,
        "filter.rated_drop": rated_drop,
        "filter.most_velocity": "300 ft/min",
        "filter.most_drop": "0.25 in w.c.",
    }


def filter_use(changed: str) -> dict[str, str]:
    return {
        "filter.last_change": changed,
        "filter.kind": "deep-pleated",
        "filter.run_hours": "12 h/day",
        "site.dust": "normal",
    }


def statics(before_filter: str, after_filter: str, supply: str, rated: str) -> dict[str, str]:
    """Readings in in w.c."""
    return {
        "static.before_filter": f"{before_filter} in w.c.",
        "static.after_filter": f"{after_filter} in w.c.",
        "static.supply_reading": f"{supply} in w.c.",
        "blower.rated_static": f"{rated} in w.c.",
    }


def trend(total: str, flow: str) -> dict[str, str]:
    """External static of today in in w.c., airflow in cfm."""
    return {"trend.total_now": f"{total} in w.c.", "air.flow": f"{flow} cfm"}


def days_ago(days: int, hour: int) -> datetime:
    """That hour of that day; of today no later than now, so that no record lies in the future."""
    now = datetime.now(ZONE)
    wanted = (now - timedelta(days=days)).replace(hour=hour, minute=10, second=0, microsecond=0)
    return min(wanted, now - timedelta(hours=2))
