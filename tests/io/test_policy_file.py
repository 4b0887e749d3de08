"""The policy as a file: whole or only what differs, ranges kept, slips named."""

from __future__ import annotations

from dataclasses import fields, is_dataclass, replace

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from crossfall.errors import InputError
from crossfall.io.policy import policy_text, read_policy, write_policy
from crossfall.model import Policy
from crossfall.model.policy.setting import settings_of

RANGED = [
    row
    for row in settings_of(Policy())
    if isinstance(row.value, float) and row.low is not None and row.high is not None
]


def _with(part, path: str, value):
    """``part`` with the setting at a dotted path changed."""
    head, _, rest = path.partition(".")
    return replace(part, **{head: _with(getattr(part, head), rest, value) if rest else value})


def _read(tmp_path, text: str, current: Policy | None = None) -> Policy:
    path = tmp_path / "policy.toml"
    path.write_text(text)
    return read_policy(path, current)


@pytest.mark.parametrize("only_changed", [False, True])
def test_defaults_come_back_equal(tmp_path, only_changed):
    path = write_policy(Policy(version="7"), tmp_path / "p.toml", only_changed=only_changed)
    assert read_policy(path) == Policy(version="7")


def test_every_setting_stands_in_the_file_with_its_meaning():
    text = policy_text(Policy())
    for row in settings_of(Policy()):
        assert row.path.rpartition(".")[2] in text
        if isinstance(row.value, float | int):
            assert " ".join(row.doc.split()) in text


@settings(max_examples=40, deadline=None)
@given(st.data())
def test_any_settings_in_their_ranges_come_back_equal(tmp_path_factory, data):
    policy = Policy(version="changed")
    for row in data.draw(st.lists(st.sampled_from(RANGED), max_size=6, unique_by=lambda r: r.path)):
        policy = _with(policy, row.path, data.draw(st.floats(row.low, row.high)))
    folder = tmp_path_factory.mktemp("policy")
    for only_changed in (False, True):
        path = write_policy(policy, folder / "p.toml", only_changed=only_changed)
        assert read_policy(path) == policy


def test_only_what_differs_is_written():
    row = RANGED[0]
    value = (row.low + row.high) / 2
    text = policy_text(_with(Policy(), row.path, value), only_changed=True)
    keys = [line for line in text.splitlines() if "=" in line and not line.startswith("#")]
    assert len(keys) == (2 if value != row.value else 1)


@pytest.mark.parametrize("row", RANGED, ids=lambda row: row.path)
def test_each_range_is_kept(tmp_path, row):
    section, _, key = row.path.rpartition(".")
    for value in (row.low - 1, row.high + 1):
        with pytest.raises(InputError, match=f"{key}: is .*; expected .* to "):
            _read(tmp_path, f'version = "x"\n[{section}]\n{key} = {value}\n')


def test_what_is_not_said_stays_as_it_is_in_force(tmp_path):
    row, other = RANGED[0], RANGED[-1]
    current = _with(Policy(), other.path, other.high)
    section, _, key = row.path.rpartition(".")
    policy = _read(tmp_path, f'version = "2"\n[{section}]\n{key} = {row.low}\n', current)
    assert policy == replace(_with(current, row.path, row.low), version="2")


def test_one_material_changes_and_the_others_stay(tmp_path):
    policy = _read(
        tmp_path, 'version = "2"\n[moisture.materials."crushed rock"]\noptimum_pct = 6.5\n'
    )
    before = Policy().moisture.materials
    after = policy.moisture.materials
    assert after["crushed rock"] == replace(before["crushed rock"], optimum_pct=6.5)
    assert {k: v for k, v in after.items() if k != "crushed rock"} == {
        k: v for k, v in before.items() if k != "crushed rock"
    }


@pytest.mark.parametrize(
    ("text", "message"),
    [
        ("", "version is missing"),
        ('version = " "\n', "version is missing"),
        ("version = 2\n", "version is missing"),
        ('version = "2"\n[moistur]\n', "moistur: is unknown; did you mean moisture"),
        ('version = "2"\n[moisture]\nrain_limt_mm = 2.0\n', "did you mean rain_limit_mm"),
        ('version = "2"\n[moisture]\nrain_limit_mm = "2"\n', "is '2'; expected a figure"),
        ('version = "2"\n[moisture]\nrain_limit_mm = nan\n', "is nan; expected a figure"),
        ('version = "2"\n[moisture]\nrain_limit_mm = true\n', "is True; expected a figure"),
        ('version = "2"\nmoisture = 3\n', "moisture: is 3; expected a table of"),
        ('version = "2"\n[moisture\n', "is not TOML"),
        ('version = "2"\n[costs.grader.likely]\nper = "day"\n', "per: is 'day'; expected"),
    ],
)
def test_slips_are_named(tmp_path, text, message):
    with pytest.raises(InputError, match=message):
        _read(tmp_path, text)


def test_all_slips_are_found_before_the_file_is_refused(tmp_path):
    text = 'version = "2"\n[moisture]\nnonsense = 1\n[gate]\nnonsense = 1\n'
    with pytest.raises(InputError, match=r"moisture, nonsense.*; .*gate, nonsense"):
        _read(tmp_path, text)


def test_an_interrupted_write_leaves_the_old_file(tmp_path, monkeypatch):
    path = write_policy(Policy(version="old"), tmp_path / "p.toml")

    def stop(*_):
        raise KeyboardInterrupt

    monkeypatch.setattr("crossfall.io.toml.os.replace", stop)
    with pytest.raises(KeyboardInterrupt):
        write_policy(Policy(version="new"), path)
    assert read_policy(path).version == "old"


def test_folder_that_is_not_there(tmp_path):
    with pytest.raises(InputError, match=r"folder 'no' for p\.toml does not exist"):
        write_policy(Policy(), tmp_path / "no" / "p.toml")


def test_every_part_of_the_policy_has_its_meaning():
    """A figure without a meaning could not be explained in the file."""

    def bare(part, path):
        for each in fields(part):
            value = getattr(part, each.name)
            if is_dataclass(value) and "unit" not in each.metadata:
                yield from bare(value, f"{path}.{each.name}")
            elif isinstance(value, float | int) and not each.metadata.get("doc"):
                yield f"{path}.{each.name}"

    found = [name for each in fields(Policy) if each.name != "version"
             for name in bare(getattr(Policy(), each.name), each.name)]  # fmt: skip
    assert found == []
