"""Tables of what was fitted."""

from __future__ import annotations

import dataframely as dy

from pipeline.schemas.base import Table, flag, instant, integer, quantity, text


class ModelCards(dy.Schema):
    """A fitted model and how it did on pads it had not seen."""

    model = text("name of the model", key=True, code=True)
    outcome = text("column it predicts", required=True, code=True)
    unit = text("unit of the outcome", required=True, code=True)
    level = text("stage or plug", required=True)
    rows = integer("rows it was fitted on", required=True)
    pads = integer("pads", required=True)
    wells = integer("wells", required=True)
    rows_left_out = integer("rows without the outcome or a predictor", required=True)
    rmse_held_out = quantity("ratio", "root mean square error on pads left out, in the outcome's unit")
    rmse_of_mean = quantity("ratio", "the same of the training mean")
    skill = quantity("ratio", "share of the mean's squared error that the model removes")
    skill_low = quantity("ratio", "lower 95 % limit of the skill, resampling pads")
    skill_high = quantity("ratio", "upper 95 % limit of the skill, resampling pads")
    better_than_mean = flag("whether the lower limit is above zero", required=True)
    verdict = text("result in one sentence", required=True, amounts=True)
    interval_note = text("what can be said of prediction intervals", required=True)
    kind = text("linear, logistic or boosted: which predicts", code=True)
    rmse_linear = quantity("ratio", "the linear or logistic model's error on pads left out")
    rmse_boosted = quantity("ratio", "the boosted model's; kept only where it is better by more than a standard error")
    rmse_of_physics = quantity("ratio", "error of plain physics, nothing fitted, where there is one")
    interval_half_width = quantity("ratio", "half width of the 90 % prediction interval of a row of a pad not seen")
    coverage_90 = quantity("ratio", "share of rows inside it, each pad judged by the others")
    limitations = text("what the model must not be used for")
    span = text("first and last quarter of its rows")
    inputs = text("hash of the rows and of the method", required=True, code=True)
    fitted_at = instant("when", required=True)


class Effects(dy.Schema):
    """An effect of a fitted model: an association, not a cause."""

    model = text("name of the model", key=True, code=True)
    term = text("term of the model", key=True)
    effect = quantity("ratio", "change of the outcome, in its unit")
    per = text("for what change of the term, or against which level", amounts=True)
    low = quantity("ratio", "lower 95 % limit, clustered by pad")
    high = quantity("ratio", "upper 95 % limit, clustered by pad")
    unit = text("unit of the outcome", code=True)


class Predictions(dy.Schema):
    """What a model said of a row whose pad it had not seen."""

    model = text("name of the model", key=True, code=True)
    well_id = text("our name of the well", key=True)
    number = integer("stage or plug", key=True)
    pad = text("the site")
    observed = quantity("ratio", "measured outcome")
    predicted = quantity("ratio", "prediction with the whole pad left out")
    mean_predicted = quantity("ratio", "mean of the other pads")
    low = quantity("ratio", "lower 90 % limit of the prediction; none with fewer than nine pads")
    high = quantity("ratio", "upper limit of the same")


class ModelParameters(dy.Schema):
    """A fitted linear or logistic model, as numbers: loading it runs no code."""

    model = text("name of the model", key=True, code=True)
    term = text("constant, a number's column, or `column: class`", key=True)
    coefficient = quantity("ratio", "of the centred and scaled column, in the outcome's unit (logistic: log odds)")
    centre = quantity("ratio", "taken off a number first, in its unit")
    scale = quantity("ratio", "a number is divided by it, in its unit")
    lowest = quantity("ratio", "lowest value of the column in the data")
    highest = quantity("ratio", "highest value of the column in the data")
    pads = integer("pads on which a class was seen")
    inputs = text("hash of the rows and of the method", required=True, code=True)


class Comparisons(dy.Schema):
    """A crew or design against the others it can be compared with."""

    comparison = text("name of the comparison", key=True, code=True)
    outcome = text("column compared", required=True, code=True)
    unit = text("unit of the outcome", required=True, code=True)
    factor = text("crew or design", required=True, code=True)
    level = text("which crew or design", key=True)
    rows = integer("stages or plugs compared", required=True)
    rows_excluded = integer("stages or plugs of this crew left out", required=True)
    pads = integer("pads worked", required=True)
    wells = integer("wells worked", required=True)
    group = integer("connected set; only members of one set are compared")
    separable = flag("whether its effect can be told from the pad's", required=True)
    effect = quantity("ratio", "adjusted difference from the mean of its set")
    low = quantity("ratio", "lower 95 % limit")
    high = quantity("ratio", "upper 95 % limit")
    shrunken = quantity("ratio", "the difference after shrinkage towards no difference")
    shrunken_low = quantity("ratio", "lower 95 % limit of the shrunken difference, allowing for how many were compared")
    shrunken_high = quantity("ratio", "upper limit of the same")
    chance_best = quantity("ratio", "chance of being the least of its set")
    rank_low = integer("best rank in its set that the joint limits leave open")
    rank_high = integer("worst rank of the same")
    effect_uncut = quantity("ratio", "the difference without stages cut short or screened out, which are kept in it")
    bound_low = quantity("ratio", "the difference if the excluded rows were as good as the best twentieth")
    bound_high = quantity("ratio", "the difference if they were as bad as the worst twentieth")
    raw_mean = quantity("ratio", "plain mean, for reference")
    adjusted_for = text("covariates, all known before the job", code=True)
    note = text("what a reader must know", required=True, amounts=True)
    inputs = text("hash of the rows and of the method", required=True, code=True)


MODEL_CARDS = Table("model_cards", ModelCards, "a fitted model")
EFFECTS = Table("effects", Effects, "an effect of a fitted model")
PREDICTIONS = Table("predictions", Predictions, "a prediction out of pad")


class Proportions(dy.Schema):
    """A crew's proportion of an event against what chance allows, or a point of the limits."""

    event = text("what is counted, such as screenout", key=True, code=True)
    level = text("crew; `limits` for a point of the lines", key=True)
    rows = integer("stages", key=True)
    events = integer("stages with the event")
    share = quantity("ratio", "events over stages")
    target = quantity("ratio", "proportion of all stages")
    low_95 = quantity("ratio", "lower 95 % limit at this many stages, over-dispersion allowed for")
    high_95 = quantity("ratio", "upper 95 % limit")
    low_998 = quantity("ratio", "lower 99.8 % limit")
    high_998 = quantity("ratio", "upper 99.8 % limit")
    dispersion = quantity("ratio", "how much more crews differ than chance: mean square of winsorised z; 1 is chance")
    inputs = text("hash of the rows and of the method", required=True, code=True)


class Changes(dy.Schema):
    """A quarter's change against all quarters before it, split into other jobs and jobs done otherwise."""

    metric = text("column", key=True, code=True)
    quarter = text("quarter", key=True, code=True)
    unit = text("unit of the metric", code=True)
    value = quantity("ratio", "mean of the quarter")
    change = quantity("ratio", "less the mean of all quarters before")
    mix = quantity("ratio", "what other designs and rock make of it; none where its jobs were not seen before")
    performance = quantity("ratio", "what changes within designs and rock make of it")
    slope = quantity("ratio", "Theil and Sen's slope a quarter, all quarters so far")
    p_trend = quantity("ratio", "two-sided p of Mann and Kendall's test; none with fewer than eight quarters")
    inputs = text("hash of the rows and of the method", required=True, code=True)


class QuarterMeans(dy.Schema):
    """A quarter's mean and its difference from all quarters before, with limits from how much pads differ."""

    metric = text("column", key=True, code=True)
    quarter = text("quarter", key=True, code=True)
    unit = text("unit of the metric", code=True)
    rows = integer("stages, plugs or wells of the quarter")
    pads = integer("pads of the quarter")
    value = quantity("ratio", "mean of the quarter")
    low = quantity("ratio", "lower 95 % limit; none with fewer than three pads so far")
    high = quantity("ratio", "upper 95 % limit")
    change = quantity("ratio", "less the mean of all quarters before")
    change_low = quantity("ratio", "lower 95 % limit of the change")
    change_high = quantity("ratio", "upper 95 % limit of the change")
    inputs = text("hash of the rows and of the method", required=True, code=True)


PROPORTIONS = Table("proportions", Proportions, "a crew's proportion, or a point of its limits")
CHANGES = Table("changes", Changes, "a quarter's change against those before")


class Planned(dy.Schema):
    """A figure of a candidate design for the next pad, from the workspace's plan file."""

    design = text("name of the design", key=True)
    figure = text("what is said of it", key=True, code=True)
    place = integer("order of the design in the plan file", required=True)
    unit = text("unit of the value", code=True)
    basis = text("physics, model, count or sum", code=True)
    value = quantity("ratio", "value; none where the design lies outside the data")
    low = quantity("ratio", "lower 90 % limit")
    high = quantity("ratio", "upper 90 % limit")
    note = text("what a reader must know", amounts=True)
    pad = text("the next pad")
    verdict = text("which design comes first, or why none does", amounts=True)
    inputs = text("hash of the plan file and of the models", required=True, code=True)


class Trials(dy.Schema):
    """What a trial on the next pad would teach about two of its designs."""

    comparison = text("comparison", key=True, code=True)
    wells = text("which wells get which", key=True)
    half_width = quantity("ratio", "expected half width of the 95 % interval of the difference")
    shrinks_to = quantity("ratio", "share of the present half width")
    unit = text("unit of the outcome", code=True)
    note = text("why there is none, where there is none", amounts=True)
    inputs = text("hash of the plan file and of the models", required=True, code=True)


PLANNED = Table("planned", Planned, "a figure of a candidate design")
TRIALS = Table("trials", Trials, "a trial on the next pad")
QUARTER_MEANS = Table("quarter_means", QuarterMeans, "a measure in a quarter")
MODEL_PARAMETERS = Table("model_parameters", ModelParameters, "a term of a fitted model")
COMPARISONS = Table("comparisons", Comparisons, "a crew or design in a comparison")
