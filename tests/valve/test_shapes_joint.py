"""Shapes of two evidences: each is the product of two that are there, under the evidence that bears it."""

import numpy as np

from server.valve.features import FACT_INDEX, FACTS
from server.valve.model import MODEL
from server.valve.shapes import EVIDENCE, design
from server.valve.shapes_joint import JOINT


def test_each_is_the_product_of_two_shapes_that_are_there() -> None:
    facts = np.abs(np.random.default_rng(1).standard_normal((40, len(FACTS)))) * 3.0
    columns = design(facts).columns
    for name, (one, other) in JOINT.items():
        assert name.split(".")[0] in EVIDENCE
        assert columns[name].tolist() == (columns[one] * columns[other]).tolist()
        assert not {one, other} & set(JOINT), name
        assert name.split(".", 1)[1] in MODEL["terms"][name.split(".")[0]]


def test_what_two_evidences_say_of_one_another_is_charged_to_both_alike() -> None:
    shared = [name.split(".")[1] for name in JOINT if name.startswith("swept_level.")]
    assert shared
    for weights in (MODEL["terms"], MODEL["terms_of_two"]):
        for shape in shared:
            assert weights["swept_level"][shape] == weights["low_tail"][shape]


def test_a_rise_that_never_reached_the_part_is_not_explained_by_a_hair_of_weight() -> None:
    """0.06 % heavier with 3 % more stroke: the melt went elsewhere; 2.5 % heavier: it is in the part."""

    def weight_term(heavier_pct: float) -> float:
        row = np.full((1, len(FACTS)), np.nan)
        for name, value in {
            "swept_rise_pct": 3.0, "swept_rise_100_pct": 3.0, "swept_noise_pct": 0.08,
            "swept_sigma_pct": 0.08,
            "swept_scatter": 1.0, "weight_noise_pct": 0.06, "weight_scatter": 1.0, "shots_seen": 100.0,
            "weight_change_pct": heavier_pct,
        }.items():  # fmt: skip
            row[0, FACT_INDEX[name]] = value
        columns = design(row).columns
        weights = MODEL["terms"]["weight"]
        return float(sum(w * float(columns[f"weight.{shape}"][0]) for shape, w in weights.items()))

    assert weight_term(0.06) > 0.4
    assert weight_term(0.06) > weight_term(0.0) - 0.5
    assert weight_term(2.5) < -1.0
