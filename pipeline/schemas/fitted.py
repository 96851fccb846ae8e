"""Tables of what was fitted."""

from __future__ import annotations

import dataframely as dy

from pipeline.schemas.base import Table, flag, instant, integer, quantity, text


class ModelCards(dy.Schema):
    """A fitted model and how it did on pads it had not seen."""

    model = text("name of the model", key=True)
    outcome = text("column it predicts", required=True)
    unit = text("unit of the outcome", required=True)
    level = text("stage or plug", required=True)
    rows = integer("rows it was fitted on", required=True)
    pads = integer("pads", required=True)
    wells = integer("wells", required=True)
    rows_left_out = integer("rows without the outcome or a predictor", required=True)
    rmse_out_of_pad = quantity("ratio", "root mean square error on pads left out, in the outcome's unit")
    rmse_of_mean = quantity("ratio", "the same of the training mean")
    skill = quantity("ratio", "share of the mean's squared error that the model removes")
    skill_low = quantity("ratio", "lower 95 % limit of the skill, resampling pads")
    skill_high = quantity("ratio", "upper 95 % limit of the skill, resampling pads")
    better_than_mean = flag("whether the lower limit is above zero", required=True)
    verdict = text("what the card says in one sentence", required=True)
    interval_note = text("what can be said of prediction intervals", required=True)
    inputs = text("hash of the rows and of the method", required=True)
    fitted_at = instant("when", required=True)


class Effects(dy.Schema):
    """An effect of a fitted model: an association, not a cause."""

    model = text("name of the model", key=True)
    term = text("term of the model", key=True)
    effect = quantity("ratio", "change of the outcome, in its unit")
    per = text("for what change of the term")
    low = quantity("ratio", "lower 95 % limit, clustered by pad")
    high = quantity("ratio", "upper 95 % limit, clustered by pad")
    unit = text("unit of the outcome")


class Predictions(dy.Schema):
    """What a model said of a row whose pad it had not seen."""

    model = text("name of the model", key=True)
    well_id = text("the well", key=True)
    number = integer("stage or plug", key=True)
    pad = text("the site")
    observed = quantity("ratio", "measured outcome")
    predicted = quantity("ratio", "prediction with the whole pad left out")
    mean_predicted = quantity("ratio", "mean of the other pads")


class Comparisons(dy.Schema):
    """A crew or design against the others it can be compared with."""

    comparison = text("name of the comparison", key=True)
    outcome = text("column compared", required=True)
    unit = text("unit of the outcome", required=True)
    factor = text("crew or design", required=True)
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
    raw_mean = quantity("ratio", "plain mean, for reference")
    adjusted_for = text("covariates, all known before the job")
    note = text("what a reader must know", required=True)
    inputs = text("hash of the rows and of the method", required=True)


MODEL_CARDS = Table("model_cards", ModelCards, "a fitted model")
EFFECTS = Table("effects", Effects, "an effect of a fitted model")
PREDICTIONS = Table("predictions", Predictions, "a prediction out of pad")
COMPARISONS = Table("comparisons", Comparisons, "a crew or design in a comparison")
