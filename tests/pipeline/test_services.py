"""Services of a clamp: before, after, and how long the last one helped."""

from tensionlog.pipeline.services import services_of


def test_before_and_after_with_their_interval(worn):
    worn.service(18)
    for day in (19, 20, 21):
        worn.morning(day)

    (effect,), tests = services_of(worn.store, "north", "B")
    assert tests == 21
    assert effect["before"] - effect["after"] > 0.2
    assert effect["change"]["low"] < effect["change"]["best"] < effect["change"]["high"] < 0
    assert effect["helped"] is True
    assert effect["what"] == "cleaned"


def test_a_service_before_the_first_test_has_nothing_before_it(store, days):
    days.service(0, clamp="A")
    days.morning(1)

    (effect,), _ = services_of(store, "north", "A")
    assert effect["before"] is effect["change"] is effect["helped"] is None
    assert effect["after"] is not None


def test_a_clamp_without_services_has_none(worn):
    assert services_of(worn.store, "north", "A") == ([], 18)
