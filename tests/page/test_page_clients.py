"""Everybody follows, one drives, and nobody's queue can grow."""

import json

import pytest

from tensionlog.page.clients import AWAY_S, MOST_CLIENTS, MOST_NUMBERS, Client, Clients


@pytest.fixture
def clients():
    every = Clients()
    every.show({"stage": "home"})
    return every


def joined(clients, name, now_s=0.0):
    client = Client(name, lambda: None)
    assert clients.join(client, now_s=now_s)
    return client


def test_the_first_page_drives_and_the_second_follows(clients):
    first, second = joined(clients, "first"), joined(clients, "second")
    assert clients.drives("first", now_s=0.0)
    assert not clients.drives("second", now_s=0.0)
    assert json.loads(first.told()[0][1])["driver"] == "first"
    assert json.loads(second.told()[0][1])["stage"] == "home"


def test_handing_over_is_one_key_and_both_are_told(clients):
    first, second = joined(clients, "first"), joined(clients, "second")
    first.told()
    clients.take_over("second")
    assert clients.drives("second", now_s=0.0)
    assert json.loads(first.told()[0][1])["driver"] == "second"
    assert json.loads(second.told()[0][1])["driver"] == "second"


def test_a_reload_still_drives(clients):
    first = joined(clients, "first")
    joined(clients, "second")
    clients.leave(first, now_s=1.0)
    joined(clients, "first", now_s=2.0)
    assert clients.drives("first", now_s=AWAY_S + 5.0)


def test_a_driver_that_went_away_is_not_waited_for(clients):
    first = joined(clients, "first")
    joined(clients, "second")
    clients.leave(first, now_s=1.0)
    assert not clients.drives("second", now_s=2.0)
    assert clients.drives("second", now_s=2.0 + AWAY_S)


def test_of_states_only_the_latest_waits(clients):
    slow = joined(clients, "slow")
    for n in range(500):
        clients.show({"stage": "strings", "change": n})
    ((event, text),) = slow.told()
    assert event == "state"
    assert json.loads(text)["change"] == 499


def test_a_slow_page_misses_numbers_and_never_more_than_so_many_wait(clients):
    slow = joined(clients, "slow")
    for n in range(10 * MOST_NUMBERS):
        clients.number({"f": n})
    told = slow.told()
    assert len(told) == 1 + MOST_NUMBERS
    assert json.loads(told[-1][1])["f"] == 10 * MOST_NUMBERS - 1
    assert slow.missed == 9 * MOST_NUMBERS
    assert slow.told() == []


def test_too_many_pages_are_turned_away(clients):
    for n in range(MOST_CLIENTS):
        joined(clients, f"page{n}")
    assert not clients.join(Client("one more", lambda: None), now_s=0.0)
    assert clients.count == MOST_CLIENTS
