"""Two servers on one bench: the second is told where the first is."""

import pytest

from tensionlog.cli.one_server import only_server
from tensionlog.errors import UsageError


def test_a_second_server_is_refused_with_the_other_s_address(tmp_path):
    with only_server(tmp_path, "north") as claim:
        claim.at("http://127.0.0.1:8737/")
        with pytest.raises(UsageError, match=r"served already, at http://127\.0\.0\.1:8737/"):
            with only_server(tmp_path, "north"):
                pass


def test_before_it_has_an_address_the_second_is_refused_too(tmp_path):
    with only_server(tmp_path, "north"):
        with pytest.raises(UsageError, match="has not said yet"):
            with only_server(tmp_path, "north"):
                pass


def test_another_bench_and_a_later_server_are_let_in(tmp_path):
    with only_server(tmp_path, "north"), only_server(tmp_path, "south/../x"):
        pass
    with only_server(tmp_path, "north") as claim:
        claim.at("http://127.0.0.1:1/")
