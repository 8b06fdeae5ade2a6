"""Packs of readings are resolved as RFC 8428 says, and what cannot be read is refused with what to do."""

import json

import pytest
from hypothesis import given
from hypothesis import strategies as st

from tracker.intake.senml import Entry, PackError, resolve

# RFC 8428, section 5.1.2 (read as quoted in a public parser's tests; its bver 5 is of the drafts, here left out)
CURRENT = """[
 {"bn":"urn:dev:ow:10e2073a0108006:","bt":1.276020076001e+09,"bu":"A","n":"voltage","u":"V","v":120.1},
 {"n":"current","t":-5,"v":1.2},
 {"n":"current","t":-4,"v":1.3},
 {"n":"current","t":-3,"v":1.4},
 {"n":"current","t":-2,"v":1.5},
 {"n":"current","t":-1,"v":1.6},
 {"n":"current","v":1.7}
]"""


def test_the_standards_example_of_currents_is_resolved():
    entries = resolve(json.loads(CURRENT))
    assert [entry.value for entry in entries] == [120.1, 1.2, 1.3, 1.4, 1.5, 1.6, 1.7]
    assert [entry.unit for entry in entries] == ["V", *["A"] * 6]
    assert {entry.name for entry in entries[1:]} == {"urn:dev:ow:10e2073a0108006:current"}
    # "shows current at Tue Jun 8 18:01:16.001 UTC 2010 and at each second for the previous 5 seconds"
    assert f"{entries[0].at:%Y-%m-%d %H:%M:%S.%f}" == "2010-06-08 18:01:16.001000"
    assert [(entries[0].at - entry.at).total_seconds() for entry in entries[1:]] == [5, 4, 3, 2, 1, 0]


def test_base_fields_hold_until_the_next_and_base_values_are_added():
    entries = resolve(
        [
            {"bn": "a:", "bt": 1_700_000_000, "bv": 10, "n": "x", "v": 1},
            {"bn": "b:"},
            {"n": "y", "v": 2},
            {"n": "z", "vb": True},
        ]
    )
    assert [(one.record, one.name, one.value) for one in entries] == [(0, "a:x", 11), (2, "b:y", 12), (3, "b:z", True)]


@pytest.mark.parametrize(
    ("record", "said"),
    [
        ({"n": "a", "t": 1_700_000_000}, "value"),
        ({"n": "a", "t": 1_700_000_000, "v": 1, "vb": True}, "one value"),
        ({"n": "a", "v": 1}, "since 1970"),
        ({"n": "a", "t": -5, "v": 1}, "since 1970"),
        ({"n": "a", "t": 1e17, "v": 1}, "too far ahead"),
        ({"n": "", "t": 1_700_000_000, "v": 1}, "name"),
        ({"n": "a b", "t": 1_700_000_000, "v": 1}, "name"),
        ({"n": "-a", "t": 1_700_000_000, "v": 1}, "name"),
        ({"n": "a", "t": 1_700_000_000, "v": "1"}, "number"),
        ({"n": "a", "t": 1_700_000_000, "v": True}, "number"),
        ({"n": "a", "t": 1_700_000_000, "v": float("nan")}, "number"),
        ({"n": 5, "t": 1_700_000_000, "v": 1}, "text"),
        ({"n": "a", "t": 1_700_000_000, "vb": 1}, "true or false"),
        ({"n": "a", "t": 1_700_000_000, "vs": "on"}, "texts"),
        ({"n": "a", "t": 1_700_000_000, "s": 5}, "sums"),
        ({"n": "a", "t": 1_700_000_000, "v": 1, "must_": 1}, "must be understood"),
        ({"bver": 11, "n": "a", "t": 1_700_000_000, "v": 1}, "version"),
        ("a", "object"),
    ],
)
def test_what_cannot_be_read_is_refused_at_its_record(record, said):
    good = {"n": "a", "t": 1_700_000_000, "v": 1}
    with pytest.raises(PackError, match=said) as caught:
        resolve([good, record])
    assert caught.value.record == 1


@pytest.mark.parametrize("pack", [{}, [], "x", None, 5])
def test_a_pack_is_a_list_of_records(pack):
    with pytest.raises(PackError, match="list"):
        resolve(pack)


def test_fields_that_need_not_be_understood_are_passed_over():
    assert resolve([{"n": "a", "t": 1_700_000_000, "v": 1, "colour": "green", "ut": 60}])[0].value == 1


JSON = st.recursive(
    st.none() | st.booleans() | st.floats() | st.integers() | st.text(max_size=5),
    lambda inner: (
        st.lists(inner, max_size=3)
        | st.dictionaries(st.sampled_from(["bn", "bt", "bv", "bu", "n", "u", "v", "vb", "t", "s", "x_"]), inner)
    ),
    max_leaves=12,
)


@given(JSON)
def test_any_json_is_read_or_refused_in_words(pack):
    try:
        assert all(isinstance(entry, Entry) for entry in resolve(pack))
    except PackError as error:
        assert str(error).endswith((".", "_"))
