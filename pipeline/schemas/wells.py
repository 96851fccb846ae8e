"""Tables that describe wells: identity, pipe, stages and plugs."""

from __future__ import annotations

from pipeline.schemas.base import DEPTH_FT, MOST_NUMBER, Landed, Table, day, flag, instant, integer, quantity, text


class Wells(Landed):
    """A well, with all names that providers use for it."""

    well_id = text("id of the well in the lake", key=True)
    well_name = text("name used by the team", required=True)
    aliases = text("other spellings and numbers of the well, separated by |")
    pad = text("pad (site)")
    basin = text("basin")
    formation = text("landing zone")
    time_zone = text("time zone of the pad, such as America/Denver", zone=True)
    stage_count = integer("number of stages of the well", lowest=1, highest=MOST_NUMBER)
    heel_md_ft = quantity("ft", "measured depth of the heel, where the lateral begins", hard=DEPTH_FT, depth=True)
    toe_md_ft = quantity("ft", "measured depth of the toe", hard=DEPTH_FT, depth=True)
    tvd_ft = quantity("ft", "true vertical depth of the lateral", hard=(100.0, 30000.0))
    rotary_table_ft = quantity("ft", "height of the rotary table above the ground", hard=(0.0, 500.0))
    stub = flag("created during landing because a file named a well missing from all wells tables", required=True)


class Strings(Landed):
    """A casing or coil string, one row per section."""

    well_id = text("id of the well in the lake", key=True)
    string = text("casing or coil", key=True, one_of=("casing", "coil"))
    section = integer("section of the string, from the top", key=True, lowest=1, highest=MOST_NUMBER)
    top_md_ft = quantity("ft", "top of the section", hard=DEPTH_FT, depth=True)
    bottom_md_ft = quantity("ft", "bottom of the section", hard=DEPTH_FT, depth=True)
    outside_diameter_in = quantity("in", "outside diameter", hard=(0.5, 30.0))
    inside_diameter_in = quantity("in", "inside diameter", hard=(0.3, 30.0))


class Stages(Landed):
    """A stage's design and perforations, as designed and as fired."""

    well_id = text("id of the well in the lake", key=True)
    stage = integer("stage, counted from the toe", key=True, lowest=1, highest=MOST_NUMBER)
    design = text("name of the design")
    frac_fleet = text("fracturing fleet: the pumps and their spread; several crews (shifts) can work it")
    frac_crew = text("fracturing crew: the people of a shift")
    operation_mode = text("single well, zipper or simul-frac", one_of=("single well", "zipper", "simul-frac"))
    top_perf_ft = quantity("ft", "top perforation", hard=DEPTH_FT, depth=True)
    bottom_perf_ft = quantity("ft", "bottom perforation", hard=DEPTH_FT, depth=True)
    tvd_ft = quantity("ft", "true vertical depth of the perforations", hard=(100.0, 30000.0))
    stage_length_ft = quantity("ft", "length of lateral that the stage treats", hard=(1.0, 5000.0))
    clusters = integer("perforation clusters", lowest=1, highest=10_000)
    holes_designed = integer("designed holes", lowest=0, highest=10_000)
    holes_shot = integer("fired holes", lowest=0, highest=10_000)
    hole_diameter_in = quantity("in", "entry hole diameter", hard=(0.05, 2.0))
    eroded_hole_diameter_in = quantity("in", "entry hole diameter measured after the treatment", hard=(0.05, 3.0))
    discharge_coefficient = quantity(
        "ratio", "discharge coefficient of the perforations, 0.75 if none", hard=(0.3, 1.0)
    )
    designed_rate_bpm = quantity("bpm", "designed slurry rate", hard=(0.0, 200.0))
    stated_main_rate_bpm = quantity(
        "bpm", "rate from which pumping is the main treatment, if not 20 bpm", hard=(0.5, 200.0)
    )
    designed_proppant_lbm = quantity("lbm", "designed proppant", hard=(0.0, 5e6))
    designed_fluid_bbl = quantity("bbl", "designed clean fluid", hard=(0.0, 1e5))
    proppant_100_mesh_lbm = quantity("lbm", "designed proppant of 100 mesh", hard=(0.0, 5e6))
    proppant_40_70_mesh_lbm = quantity("lbm", "designed proppant of 40/70 mesh", hard=(0.0, 5e6))
    fluid = text("fluid system")
    fluid_density_ppg = quantity("lbm/gal", "density of the clean fluid", hard=(6.0, 20.0))
    proppant_specific_gravity = quantity("ratio", "grain density divided by water density", hard=(0.9, 5.0))
    acid_gal = quantity("gal", "acid pumped ahead of the pad", hard=(0.0, 1e5))
    drag_reduction = quantity("ratio", "drag reduction of the fluid, as stated from a flow loop", hard=(0.0, 0.95))
    closure_gradient_psi_ft = quantity("psi/ft", "closure stress divided by TVD", hard=(0.3, 1.5))
    closure_source = text("where the closure gradient comes from, such as an injection test, a log, or the provider")
    reservoir_gradient_psi_ft = quantity("psi/ft", "reservoir pressure divided by TVD", hard=(0.1, 1.5))
    pressure_limit_psi = quantity("psi", "highest surface pressure allowed by the programme", hard=(100.0, 20000.0))


class WellDesigns(Landed):
    """A well's design and results in one row, for wells without stages on record or beside them."""

    well_id = text("id of the well in the lake", key=True)
    design = text("name of the design")
    completed_on = day("day on which the completion ended")
    lateral_ft = quantity("ft", "length of the lateral", hard=(100.0, 40000.0))
    stages = integer("number of stages", lowest=1, highest=MOST_NUMBER)
    clusters = integer("perforation clusters of the well", lowest=1, highest=10_000)
    proppant_lbm = quantity("lbm", "designed proppant of the well", hard=(1e3, 2e8))
    fluid_bbl = quantity("bbl", "designed fluid of the well", hard=(10.0, 3e6))
    proppant_lbm_ft = quantity("lbm/ft", "designed proppant per foot of lateral", hard=(10.0, 20000.0))
    fluid_bbl_ft = quantity("bbl/ft", "designed fluid per foot of lateral", hard=(0.1, 500.0))
    avg_treating_pressure_psi = quantity("psi", "mean treating pressure as reported", hard=(100.0, 20000.0))
    avg_slurry_rate_bpm = quantity("bpm", "mean rate as reported", hard=(0.5, 200.0))
    oil_180d_bbl = quantity(
        "bbl", "oil of the first 180 days on as reported, if there is no monthly record", hard=(0.0, 5e6)
    )
    oil_360d_bbl = quantity(
        "bbl", "oil of the first 360 days on as reported, if there is no monthly record", hard=(0.0, 5e6)
    )


class Plugs(Landed):
    """A plug set in the lateral."""

    well_id = text("id of the well in the lake", key=True)
    plug = integer("plug, numbered by the stage it was set for", key=True, lowest=1, highest=MOST_NUMBER)
    set_depth_ft = quantity("ft", "set depth", hard=DEPTH_FT, depth=True)
    plug_model = text("make and model, as the team calls it")
    material = text("material")
    mass_lbm = quantity("lbm", "mass of the plug", hard=(0.0, 1000.0))
    rating_psi = quantity("psi", "rated differential pressure", hard=(0.0, 20000.0))
    set_time = instant("time when it was set")
    wireline_crew = text("wireline crew")


class CoilRuns(Landed):
    """A coiled tubing run: purpose and crew."""

    well_id = text("id of the well in the lake", key=True)
    run = integer("run, in chronological order", key=True, lowest=1, highest=MOST_NUMBER)
    kind = text(
        "mill-out, toe preparation (one run), toe milling or toe perforating (two runs)",
        one_of=("mill-out", "toe preparation", "toe milling", "toe perforating"),
    )
    coil_crew = text("coil crew")
    coil_diameter_in = quantity("in", "outside diameter of the coil", hard=(0.5, 5.0))
    target_depth_ft = quantity("ft", "planned depth", hard=DEPTH_FT, depth=True)
    motor_limit_bpm = quantity("bpm", "highest rate allowed for the motor", hard=(0.0, 20.0))
    trip_reason = text("reason why the previous run was pulled, such as motor or mill")
    rig_up_time = instant("begin of rigging up for the run")
    rig_down_time = instant("end of rigging down after the run")
    sweeps = integer("viscous sweeps pumped", lowest=0, highest=10_000)
    debris_lbm = quantity("lbm", "debris recovered at surface", hard=(0.0, 1e5))
    nozzles = integer("jetting nozzles", lowest=0, highest=10_000)
    nozzle_diameter_in = quantity("in", "diameter of a jetting nozzle", hard=(0.02, 2.0))


TOE_METHODS = ("sleeve", "coil jetting", "coil guns", "wireline guns", "other")


class ToeTests(Landed):
    """Acceptance tests of a well's toe: casing test and injectivity."""

    well_id = text("id of the well in the lake", key=True)
    casing_test_psi = quantity("psi", "casing test pressure", hard=(0.0, 20000.0))
    casing_test_held = flag("whether the casing test held")
    toe_method = text("how the toe was opened: " + ", ".join(TOE_METHODS), one_of=TOE_METHODS)
    opened_at_first = flag("whether it took fluid at the first attempt")
    injectivity_bpm = quantity("bpm", "rate of the injectivity test", hard=(0.0, 200.0))
    injectivity_psi = quantity("psi", "pressure of the injectivity test", hard=(-250.0, 20000.0))


class Wireline(Landed):
    """A pump-down run with guns and plug."""

    well_id = text("id of the well in the lake", key=True)
    run = integer("run, numbered by the stage it prepared", key=True, lowest=1, highest=MOST_NUMBER)
    wireline_crew = text("wireline crew")
    start_time = instant("time when the lubricator was made up")
    end_time = instant("time when the guns were at surface")
    pump_down_min = quantity("min", "minutes of pump-down", hard=(0.0, 2000.0))
    peak_rate_bpm = quantity("bpm", "highest pump-down rate", hard=(0.0, 60.0))
    peak_pressure_psi = quantity("psi", "highest pump-down pressure", hard=(-250.0, 20000.0))
    pump_down_bbl = quantity("bbl", "fluid pumped down", hard=(0.0, 5000.0))
    guns_fired = integer("guns fired", lowest=0, highest=10_000)
    misfires = integer("guns that did not fire", lowest=0, highest=10_000)
    plug_set = flag("whether the plug was set")
    preset = flag("whether the plug set prematurely, above its planned depth")
    pump_down_from_ft = quantity("ft", "depth at which pumping down began", hard=DEPTH_FT, depth=True)
    highest_tension_lbf = quantity("lbf", "highest tension of the cable", hard=(-1000.0, 50000.0))


class Offsets(Landed):
    """A neighbouring well, and its pressure response."""

    well_id = text("id of the well in the lake", key=True)
    offset_id = text("id of the neighbour", key=True)
    spacing_ft = quantity("ft", "distance between the laterals", hard=(0.0, 50000.0))
    completion_order = text(
        "whether the neighbour was completed before, with or after the well", one_of=("before", "with", "after")
    )
    depletion_months = quantity("ratio", "months that the neighbour produced before", hard=(0.0, 1200.0))
    pressure_response_psi = quantity("psi", "highest pressure rise recorded at the neighbour", hard=(-250.0, 20000.0))
    response_stage = integer("stage during which it was recorded", lowest=1, highest=MOST_NUMBER)


WELLS = Table("wells", Wells, "a well")
STRINGS = Table("strings", Strings, "a section of casing or coil")
STAGES = Table("stages", Stages, "a stage's design and perforations")
WELL_DESIGNS = Table("well_designs", WellDesigns, "a well's design and results")
PLUGS = Table("plugs", Plugs, "a plug")
COIL_RUNS = Table("coil_runs", CoilRuns, "a coiled tubing run")
TOE_TESTS = Table("toe_tests", ToeTests, "a well's toe acceptance test")
OFFSETS = Table("offsets", Offsets, "a neighbour of a well")
WIRELINE = Table("wireline", Wireline, "a pump-down run")
