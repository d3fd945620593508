"""Rules as data: the shipped ones, a yard's changes, and mistakes that are answered with the right name."""

from __future__ import annotations

import re
from pathlib import Path

import pytest
from weather_samples import emulsion

from scheduler.rules.rule import QUANTITIES, UNITS, Rule, rules_of
from scheduler.settings import RuleChange, SettingsError, load_yard, rule_specs

YARD = '[yard]\nplace = { lat = 48.0, lon = 8.0 }\nzone = "Europe/Berlin"\n'


def rules(method: str = "brush", **changes: dict[str, object]) -> dict[str, Rule]:
    changed = {name: RuleChange.model_validate(change) for name, change in changes.items()}
    return {rule.name: rule for rule in rules_of(rule_specs(), changed, emulsion(), method)}


def test_every_shipped_rule_is_ready_with_unit_source_and_sentences() -> None:
    found = rules("spray")
    assert set(found) == set(rule_specs())
    for rule in found.values():
        assert rule.quantity in QUANTITIES
        assert rule.unit == UNITS[rule.quantity]
        assert rule.source.strip()
        for text in (rule.says, rule.holds):
            assert text.format(value="3", limit="5", unit=rule.unit, at="Tue 3 am")
            assert set(re.findall(r"{(\w+)}", text)) <= {"value", "limit", "unit", "at"}
            assert not re.search(r"\bsafe\b|\blate\b|\boverdue\b|\bmissed\b|!", text)


def test_rules_keep_the_order_of_the_file() -> None:
    assert list(rules("spray")) == list(rule_specs())


def test_the_wind_rule_holds_for_spraying_only() -> None:
    assert "wind_for_spraying" in rules("spray")
    assert "wind_for_spraying" not in rules("brush")
    assert "wind_for_spraying" not in rules("roller")


def test_limits_come_from_the_product() -> None:
    found = {r.name: r for r in rules_of(rule_specs(), {}, emulsion(least_application_c=7.2), "brush")}
    assert found["too_cold_to_brush"].limit == 7.2
    assert found["frost_on_face"].limit == 0.0


def test_the_yards_own_limit_wins_over_the_products() -> None:
    found = rules(too_cold_to_brush={"below": 6.0})
    assert found["too_cold_to_brush"].limit == 6.0
    assert found["too_cold_to_brush"].stops


def test_a_rule_can_be_changed_in_one_word() -> None:
    assert rules(dew_margin={"breach": "stop"})["dew_margin"].stops
    assert not rules()["dew_margin"].stops
    assert rules(frost_on_face={"stretch": "until dry"})["frost_on_face"].stretch == "until dry"


def test_a_new_limit_may_turn_the_side() -> None:
    found = rules(storm={"below": 3.0})["storm"]
    assert found.below
    assert found.limit == 3.0


def test_a_rule_can_be_switched_off_and_on_again() -> None:
    assert "dew_margin" not in rules(dew_margin={"on": False})
    assert "dew_margin" in rules(dew_margin={"on": True})


def test_a_yard_adds_a_rule_of_its_own() -> None:
    own = rules(fog={"quantity": "humidity_pct", "above": 97.0, "stretch": "at start"})["fog"]
    assert own.quantity == "humidity_pct"
    assert own.limit == 97.0
    assert not own.below
    assert own.stops
    assert own.unit == "%"
    assert own.source == "the yard's own rule"


def test_nothing_said_leaves_the_shipped_rules_as_they_are() -> None:
    assert rules(storm={}) == rules()


WRONG = [
    ({"dew_margen": {"below": 2.0}}, "did you mean 'dew_margin'?"),
    ({"fog": {"quantity": "humidity", "above": 97.0}}, "did you mean 'humidity_pct'?"),
    ({"fog": {"quantity": "zzz", "above": 97.0}}, "there are air_c, humidity_pct"),
    ({"storm": {"unit": "km/h"}}, "gust_ms is in m/s, not in 'km/h'"),
    ({"too_cold_to_brush": {"limit_from": "least_aplication"}}, "did you mean 'least_application_c'?"),
    ({"fog": {"quantity": "humidity_pct"}}, "exactly one of 'below' and 'above'"),
    ({"fog": {"quantity": "humidity_pct", "below": 1.0, "above": 2.0}}, "exactly one of 'below' and 'above'"),
    ({"storm": {"stretch": "until tea"}}, "'until touch-dry'"),
]


@pytest.mark.parametrize(("change", "said"), WRONG, ids=[said for _, said in WRONG])
def test_a_mistake_in_a_rule_names_the_rule_and_the_right_word(change: dict, said: str) -> None:
    with pytest.raises(SettingsError) as error:
        rules(**change)
    assert said in str(error.value)
    assert f"rules.{next(iter(change))}" in str(error.value)


def yard(tmp_path: Path, text: str) -> dict[str, Rule]:
    file = tmp_path / "yard.toml"
    file.write_text(YARD + text, encoding="utf-8")
    loaded = load_yard(file)
    return {rule.name: rule for rule in rules_of(rule_specs(), loaded.rules, emulsion(), "brush")}


def test_rules_are_changed_in_the_yard_file(tmp_path: Path) -> None:
    found = yard(
        tmp_path,
        "[rules.frost_on_face]\nbelow = 0.5\n[rules.dew_margin]\non = false\n"
        '[rules.fog]\nquantity = "humidity_pct"\nabove = 97\n',
    )
    assert found["frost_on_face"].limit == 0.5
    assert "dew_margin" not in found
    assert found["fog"].limit == 97.0


def test_an_unknown_key_of_a_rule_names_the_nearest_with_its_line(tmp_path: Path) -> None:
    with pytest.raises(SettingsError) as error:
        yard(tmp_path, "[rules.storm]\nabov = 15.0\n")
    assert "abov" in str(error.value)
    assert "did you mean 'above'?" in str(error.value)
    assert "line 5" in str(error.value)


@pytest.mark.parametrize("text", ['[rules.storm]\nabove = "fast"\n', '[rules.storm]\nbreach = "maybe"\n'])
def test_a_value_of_the_wrong_kind_is_refused_with_its_place(tmp_path: Path, text: str) -> None:
    with pytest.raises(SettingsError, match=r"rules\.storm\.\w+"):
        yard(tmp_path, text)
