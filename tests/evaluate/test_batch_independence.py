"""Any batching, order, duplication, lateness and kill point gives the bytes of one rebuild."""

import itertools

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from server.evaluate import press as evaluated
from server.store import evaluation as landed
from server.store.database import Store
from server.valve.checks import proof_log_odds
from tests.evaluate.history import Bringing, record_of, shots_of

_number = itertools.count()
_DOCUMENT = record_of(shots_of("any"))


_kept: dict[str, dict[str, list[tuple[object, ...]]]] = {}


def _golden(store: Store) -> dict[str, list[tuple[object, ...]]]:
    """The history in one batch, evaluated once; the same for every way compared with it."""
    if store.url not in _kept:
        _kept[store.url] = _in_one_batch(store)
    return _kept[store.url]


def _in_one_batch(store: Store) -> dict[str, list[tuple[object, ...]]]:
    press = f"G{next(_number)}"
    shots = shots_of(press)
    bringing = Bringing(store, press, _DOCUMENT)
    bringing.bring(shots)
    bringing.approve(shots)
    bringing.note_setting(shots)
    bringing.note_checks(shots)
    bringing.settle()
    return bringing.results()


_steps = st.lists(
    st.tuples(
        st.integers(0, 1_000_000),  # where the next cut is
        st.sampled_from(["nothing", "evaluate", "evaluate", "killed", "again", "small piece"]),
    ),
    min_size=1,
    max_size=12,
)


@given(
    steps=_steps,
    order=st.randoms(use_true_random=False),
    baseline_at=st.integers(0, 12),
    event_at=st.integers(0, 12),
    checks_at=st.integers(0, 12),
)
@settings(
    max_examples=15,
    deadline=None,
    suppress_health_check=[HealthCheck.function_scoped_fixture],  # every example has a press of its own
)
def test_any_way_of_arriving_gives_the_bytes_of_one_rebuild(
    any_store: Store,
    steps: list[tuple[int, str]],
    order: object,
    baseline_at: int,
    event_at: int,
    checks_at: int,
) -> None:
    golden = _golden(any_store)
    press = f"P{next(_number)}"
    shots = shots_of(press)
    cuts = sorted({cut % len(shots) for cut, _ in steps} | {0, len(shots)})
    batches = [shots[a:b] for a, b in itertools.pairwise(cuts)]
    order.shuffle(batches)  # type: ignore[attr-defined]  # a Random drawn by hypothesis
    bringing = Bringing(any_store, press, _DOCUMENT)
    baseline_at, event_at = baseline_at % len(batches), event_at % len(batches)
    checks_at %= len(batches)
    with pytest.MonkeyPatch.context() as patched:
        patched.setattr(evaluated, "STRETCH", 37)
        patched.setattr(landed, "CHECKPOINT_EVERY", 50)
        for position, batch in enumerate(batches):
            bringing.bring(batch)
            if position == baseline_at:
                bringing.approve(shots)
            if position == event_at:
                bringing.note_setting(shots)
            if position == checks_at:
                bringing.note_checks(shots)
            act = steps[position % len(steps)][1]
            if act == "again":
                bringing.bring(batch)
            elif act == "small piece":
                bringing.evaluate(piece=37)
            elif act != "nothing":
                bringing.evaluate(killed=act == "killed")
        bringing.settle(piece=74)
    assert bringing.results() == golden


def test_the_history_exercises_what_it_should(store: Store) -> None:
    found = _golden(store)
    rules = {row[3] for row in found["findings"]}
    assert {"bottoming", "beyond_limit", "one_side"} <= rules
    assert len(found["scores"]) > 5
    # The prior moves with the valve's age, and with each check.
    assert len({row[6] for row in found["scores"]}) >= 4
    # The proof of a fix comes behind the last check: it alone moves the last score's prior.
    before, after = (float.fromhex(str(row[6])) for row in found["scores"][-2:])
    assert after - before == pytest.approx(proof_log_odds("setting", verdict="no_change"), abs=1e-9)
    assert {row[0] for row in found["rollups"]} == {600, 3600, 86400}
