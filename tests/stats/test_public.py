"""The public face of the statistics: listed, sorted, importable, each with a docstring."""

from tensionlog import stats


def test_what_is_public_is_listed_sorted_and_explains_itself():
    assert sorted(stats.__all__) == list(stats.__all__)
    assert all(getattr(stats, name).__doc__ for name in stats.__all__)
    assert len(stats.__all__) <= 15
