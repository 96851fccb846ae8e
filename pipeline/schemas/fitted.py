"""Tables of fitted models and comparisons."""

from __future__ import annotations

from pipeline.schemas.base import Schema, Table, flag, instant, integer, quantity, text


class ModelCards(Schema):
    """A fitted model and its performance on held-out pads."""

    model = text("name of the model", key=True, code=True)
    outcome = text("predicted column", required=True, code=True)
    unit = text("unit of the outcome", required=True, code=True)
    level = text("stage or plug", required=True)
    rows = integer("rows used in the fit", required=True)
    pads = integer("pads", required=True)
    wells = integer("wells", required=True)
    rows_left_out = integer("rows without the outcome or a predictor", required=True)
    rmse_held_out = quantity("ratio", "root mean square error on pads left out, in the outcome's unit")
    rmse_of_mean = quantity("ratio", "root mean square error of the training mean on held-out pads")
    skill = quantity("ratio", "share of the mean's squared error that the model removes")
    skill_low = quantity("ratio", "lower 95 % limit of the skill: resampled pads, below eight pads Student's t")
    skill_high = quantity("ratio", "upper 95 % limit of the skill")
    better_than_mean = flag("whether the lower limit of the skill is above zero", required=True)
    verdict = text("result in one sentence", required=True, amounts=True)
    interval_note = text("note on the validity of prediction intervals", required=True, amounts=True)
    kind = text("kind of model: linear or logistic", code=True)
    rmse_boosted = quantity("ratio", "a boosted model's error on held-out pads, for comparison; it is not used")
    better_boosted = flag("whether the boosted model's error is smaller beyond chance", required=True)
    rmse_later = quantity("ratio", "error on pads predicted from earlier pads only, from the fourth pad on")
    rmse_of_mean_later = quantity("ratio", "error of the mean of earlier pads on the same pads")
    picker_share = quantity("ratio", "share of the residual variance that is the picker's; missing if not picked")
    rmse_of_physics = quantity("ratio", "error of plain physics without fitting, if available")
    interval_half_width = quantity("ratio", "half width of the 90 % prediction interval of a row of a held-out pad")
    coverage_90 = quantity("ratio", "share of rows inside the interval, each pad tested against the others")
    limitations = text("what the model must not be used for")
    span = text("first and last quarter of the model's rows")
    inputs = text("hash of the rows and of the method", required=True, code=True)
    fitted_at = instant("when", required=True)


class Effects(Schema):
    """An effect of a fitted model: an association, not a cause."""

    model = text("name of the model", key=True, code=True)
    term = text("term of the model", key=True)
    effect = quantity("ratio", "change of the outcome, in its unit")
    per = text("change of the term, or the reference level, that the effect refers to", amounts=True)
    low = quantity("ratio", "lower 95 % limit, clustered by pad")
    high = quantity("ratio", "upper 95 % limit, clustered by pad")
    p_value = quantity("ratio", "p value of no association, adjusted for the number of the model's terms (Holm)")
    unit = text("unit of the outcome", code=True)


class Predictions(Schema):
    """Predictions of a model for rows of held-out pads."""

    model = text("name of the model", key=True, code=True)
    well_id = text("id of the well in the lake", key=True)
    number = integer("stage or plug", key=True)
    pad = text("pad (site)")
    observed = quantity("ratio", "measured outcome")
    predicted = quantity("ratio", "prediction with the whole pad held out")
    mean_predicted = quantity("ratio", "mean of the other pads")
    low = quantity("ratio", "lower 90 % limit of the prediction; missing with fewer than nine pads")
    high = quantity("ratio", "upper 90 % limit of the prediction")


class ModelParameters(Schema):
    """A fitted linear or logistic model, as numbers: loading it runs no code."""

    model = text("name of the model", key=True, code=True)
    term = text("constant, a number's column, or `column: class`", key=True)
    coefficient = quantity("ratio", "for the centred and scaled column, in the outcome's unit (logistic: log odds)")
    centre = quantity("ratio", "subtracted from a number before scaling, in its unit")
    scale = quantity("ratio", "divisor of a centred number, in its unit")
    lowest = quantity("ratio", "lowest value of the column in the data")
    highest = quantity("ratio", "highest value of the column in the data")
    pads = integer("pads on which a class occurs")
    inputs = text("hash of the rows and of the method", required=True, code=True)


class Comparisons(Schema):
    """A crew or design compared with the others in its connected set."""

    comparison = text("name of the comparison", key=True, code=True)
    outcome = text("column compared", required=True, code=True)
    unit = text("unit of the outcome", required=True, code=True)
    factor = text("crew or design", required=True, code=True)
    level = text("which crew or design", key=True)
    rows = integer("stages or plugs compared", required=True)
    rows_excluded = integer("stages or plugs of this crew excluded", required=True)
    pads = integer("pads worked", required=True)
    wells = integer("wells worked", required=True)
    group = integer("connected set; only members of one set are compared")
    separable = flag("whether its effect is separable from the pad effect", required=True)
    effect = quantity("ratio", "adjusted difference from the mean of its connected set")
    low = quantity("ratio", "lower 95 % limit, for this difference alone")
    high = quantity("ratio", "upper 95 % limit, for this difference alone")
    joint_low = quantity("ratio", "lower 95 % limit for all that is compared together")
    joint_high = quantity("ratio", "upper 95 % limit for all that is compared together")
    freedom = quantity("ratio", "degrees of freedom of the limits (Kenward and Roger)")
    shrunken = quantity("ratio", "the difference after shrinkage towards no difference")
    next_pad_share = quantity("ratio", "width of the joint limits with one more pad like those so far, over today's")
    picker_share = quantity("ratio", "share of the spread within wells that is the picker's; missing if not picked")
    p_exact = quantity("ratio", "exact p of no difference from the signs of the pads; two levels on few pads only")
    chance_best = quantity("ratio", "chance of having the lowest value in its connected set")
    rank_low = integer("best rank in its connected set possible under the joint limits")
    rank_high = integer("worst rank in its connected set possible under the joint limits")
    effect_uncut = quantity("ratio", "difference without stages cut short or screened out; the effect includes them")
    bound_low = quantity(
        "ratio", "lowest difference if rows without the outcome were within the middle nine tenths of rows"
    )
    bound_high = quantity("ratio", "highest difference likewise; without sampling error and rows that lack a covariate")
    raw_mean = quantity("ratio", "plain mean, for reference")
    raw_low = quantity("ratio", "a tenth of its rows are below this value, for reference")
    raw_high = quantity("ratio", "a tenth of its rows are above this value, for reference")
    adjusted_for = text("covariates, all known before the job", code=True)
    note = text("important note for the reader", required=True, amounts=True)
    inputs = text("hash of the rows and of the method", required=True, code=True)


MODEL_CARDS = Table("model_cards", ModelCards, "a fitted model")
EFFECTS = Table("effects", Effects, "an effect of a fitted model")
PREDICTIONS = Table("predictions", Predictions, "a prediction on a held-out pad")


class Proportions(Schema):
    """A crew's proportion of an event with limits expected from chance, or a point of the limit lines."""

    event = text("event counted, such as screenout", key=True, code=True)
    level = text("crew; `limits` for a point of the limit lines", key=True)
    rows = integer("stages", key=True)
    events = integer("stages with the event")
    share = quantity("ratio", "events over stages")
    target = quantity("ratio", "target proportion, over all stages")
    low_95 = quantity("ratio", "lower 95 % limit at this many stages, allowing for how much pads of a crew differ")
    high_95 = quantity("ratio", "upper 95 % limit")
    low_998 = quantity("ratio", "lower 99.8 % limit")
    high_998 = quantity("ratio", "upper 99.8 % limit")
    dispersion = quantity("ratio", "variance over that of independent stages, from how pads of a crew differ")
    p_value = quantity("ratio", "p value of the target proportion, adjusted for the number of crews (Holm)")
    inputs = text("hash of the rows and of the method", required=True, code=True)


class Changes(Schema):
    """A quarter's change from all earlier quarters, split into job mix, crew mix and performance."""

    metric = text("column", key=True, code=True)
    quarter = text("quarter", key=True, code=True)
    unit = text("unit of the metric", code=True)
    value = quantity("ratio", "mean of the quarter")
    change = quantity("ratio", "mean of the quarter minus the mean of all earlier quarters")
    mix = quantity("ratio", "part of the change from other designs and rock; missing if its classes are new")
    mix_low = quantity("ratio", "lower 95 % limit of the part from mix; missing with fewer than three pads on a side")
    mix_high = quantity("ratio", "upper 95 % limit of the part from mix")
    crew_mix = quantity("ratio", "part of the change from other crews on the same designs and rock; missing if new")
    crew_mix_low = quantity("ratio", "lower 95 % limit of the part from crews")
    crew_mix_high = quantity("ratio", "upper 95 % limit of the part from crews")
    performance = quantity("ratio", "part of the change within crews, designs and rock; with crews if these are new")
    performance_low = quantity("ratio", "lower 95 % limit of the part from performance")
    performance_high = quantity("ratio", "upper 95 % limit of the part from performance")
    slope = quantity("ratio", "Theil and Sen's slope per quarter, over all quarters so far")
    p_trend = quantity("ratio", "two-sided p of Mann and Kendall's test; missing with fewer than eight quarters")
    p_serial = quantity("ratio", "the same if quarters may resemble the quarter before")
    inputs = text("hash of the rows and of the method", required=True, code=True)


class QuarterMeans(Schema):
    """A quarter's mean and its difference from all earlier quarters, with limits from pad-to-pad variation."""

    metric = text("column", key=True, code=True)
    quarter = text("quarter", key=True, code=True)
    unit = text("unit of the metric", code=True)
    rows = integer("stages, plugs or wells of the quarter")
    pads = integer("pads of the quarter")
    value = quantity("ratio", "mean of the quarter")
    low = quantity("ratio", "lower 95 % limit; missing with fewer than three pads so far")
    high = quantity("ratio", "upper 95 % limit")
    change = quantity("ratio", "mean of the quarter minus the mean of all earlier quarters")
    change_low = quantity("ratio", "lower 95 % limit of the change")
    change_high = quantity("ratio", "upper 95 % limit of the change")
    inputs = text("hash of the rows and of the method", required=True, code=True)


PROPORTIONS = Table("proportions", Proportions, "a crew's proportion, or a point of the limit lines")
CHANGES = Table("changes", Changes, "a quarter's change from earlier quarters")


class Planned(Schema):
    """A figure of a candidate design for the next pad, from the workspace's plan file."""

    design = text("name of the design", key=True)
    figure = text("name of the figure", key=True, code=True)
    place = integer("order of the design in the plan file", required=True)
    unit = text("unit of the value", code=True)
    basis = text("physics, model, count or sum", code=True)
    value = quantity("ratio", "value; missing if the design is outside the data")
    low = quantity("ratio", "lower 90 % limit")
    high = quantity("ratio", "upper 90 % limit")
    note = text("important note for the reader", amounts=True)
    pad = text("the next pad")
    verdict = text("the design ranked first, or the reason for no ranking", amounts=True)
    inputs = text("hash of the plan file and of the models", required=True, code=True)


class Trials(Schema):
    """Expected information from a trial on the next pad about two of its designs."""

    comparison = text("comparison", key=True, code=True)
    wells = text("allocation of designs to wells", key=True)
    half_width = quantity("ratio", "expected half width of the 95 % interval of the difference")
    shrinks_to = quantity("ratio", "expected half width as a share of the present half width")
    unit = text("unit of the outcome", code=True)
    note = text("reason why there is no trial, if there is none", amounts=True)
    inputs = text("hash of the plan file and of the models", required=True, code=True)


PLANNED = Table("planned", Planned, "a figure of a candidate design")
TRIALS = Table("trials", Trials, "a trial on the next pad")
QUARTER_MEANS = Table("quarter_means", QuarterMeans, "a metric in a quarter")
MODEL_PARAMETERS = Table("model_parameters", ModelParameters, "a term of a fitted model")
COMPARISONS = Table("comparisons", Comparisons, "a crew or design in a comparison")
